package browsertest

import (
	"bytes"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"polewise/assets"
	"polewise/assets/demotest"
	"polewise/field/rehearsal"
	"polewise/layout"
)

// demoNamed returns a demo's text and plan.
func demoNamed(t *testing.T, id string) ([]byte, *layout.Plan) {
	t.Helper()
	plan := demotest.Plan(t, id)
	d, _ := assets.DemoNamed(id)
	return d.TOML, plan
}

// madeCapture is what a careful maker's phone sends of a pad: its sensor found,
// the supply switched in every hold, ohms read.
func madeCapture(t *testing.T, plan *layout.Plan, seed uint64, faults ...layout.Fault) []string {
	t.Helper()
	o := rehearsal.Defaults()
	o.Seed, o.Rest, o.TellOffsetMM, o.OffsetMM, o.Ohms, o.Faults = seed, rehearsal.RestHolds, 4, &[2]float64{2, 18}, true, faults
	m, err := rehearsal.Make(plan, o)
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if err := m.Write(&text); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(text.String()), "\n")
}

// postingPhone is a phone that posts its lines, each message as soon as the one
// before is acknowledged.
type postingPhone struct {
	t      *testing.T
	url    string
	client *http.Client
	seq    int
}

func (r *Running) postingPhone(t *testing.T, source string) *postingPhone {
	return &postingPhone{t: t, url: r.Phone + "post?source=" + source, client: &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}, Timeout: 10 * time.Second}}
}

func (p *postingPhone) send(lines ...string) {
	p.t.Helper()
	p.seq++
	r, err := p.client.Post(p.url, "application/json", strings.NewReader(fmt.Sprintf(`{"seq":%d,"lines":[%s]}`, p.seq, strings.Join(lines, ","))))
	if err != nil {
		p.t.Fatal(err)
	}
	defer r.Body.Close()
	var a struct {
		Ack   int `json:"ack"`
		Error any `json:"error"`
	}
	if err := json.NewDecoder(r.Body).Decode(&a); err != nil || a.Ack != p.seq {
		p.t.Fatalf("message %d: acknowledged %d, %v, %v", p.seq, a.Ack, a.Error, err)
	}
}
