package main

import (
	"bytes"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// program is a built polewise at work.
type program struct {
	cmd   *exec.Cmd
	Bench string `json:"bench_url"`
	Phone string `json:"phone_url"`
}

func startBuilt(t *testing.T, binary, data string) *program {
	t.Helper()
	ready := filepath.Join(t.TempDir(), "ready.json")
	p := &program{cmd: exec.Command(binary, "bench", "--data", data, "--ready-file", ready, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0")}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.cmd.Process.Kill(); _ = p.cmd.Wait() })
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		raw, err := os.ReadFile(ready)
		if err == nil {
			if err := json.Unmarshal(raw, p); err != nil {
				t.Fatal(err)
			}
			return p
		}
		if time.Now().After(deadline) {
			t.Fatal("the program did not listen within 30 s")
		}
	}
}

// TestKilledAfterAcknowledging kills the program the hard way as soon as it has
// acknowledged, and looks for every acknowledged line in the database and in
// the program started again.
func TestKilledAfterAcknowledging(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "polewise")
	if out, err := exec.Command("go", "build", "-o", binary, "polewise/server").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	data := t.TempDir()
	hc := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}, Timeout: 10 * time.Second}
	p := startBuilt(t, binary, data)
	const rounds = 3
	seq := int64(0)
	var sent []string
	for round := range rounds {
		for range 20 {
			seq++
			line := fmt.Sprintf(`{"type":"b","t":%d,"uT":[%d,0,-40]}`, seq, seq)
			lines := line
			if seq == 1 {
				first := `{"type":"start","v":1,"route":"vector"}`
				sent = append(sent, first)
				lines = first + "," + line
			}
			sent = append(sent, line)
			r, err := hc.Post(p.Phone+"post?source=killed", "application/json", bytes.NewBufferString(fmt.Sprintf(`{"seq":%d,"lines":[%s]}`, seq, lines)))
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(r.Body)
			r.Body.Close()
			if want := fmt.Sprintf("{\"ack\":%d}\n", seq); err != nil || string(body) != want {
				t.Fatalf("answer %q, %v; expected %q", body, err, want)
			}
		}
		if err := p.cmd.Process.Kill(); err != nil { // SIGKILL, no chance to tidy up
			t.Fatal(err)
		}
		_ = p.cmd.Wait()
		if round < rounds-1 {
			p = startBuilt(t, binary, data)
		}
	}
	var got []string
	for _, m := range stored(t, data) {
		for _, l := range m.Lines {
			got = append(got, string(l))
		}
	}
	if len(got) != len(sent) {
		t.Fatalf("%d lines acknowledged, %d stored", len(sent), len(got))
	}
	for i := range sent {
		if got[i] != sent[i] {
			t.Fatalf("line %d: stored %s, sent %s", i+1, got[i], sent[i])
		}
	}
}

// TestSecondProgram: a second program on a data folder says that another has it, and
// which; the first goes on.
func TestSecondProgram(t *testing.T) {
	data := t.TempDir()
	p := startBuilt(t, buildProgram(t), data)
	var out, errs bytes.Buffer
	status := run(t.Context(), []string{"bench", "--data", data, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0"}, nil, &out, &errs)
	if said := errs.String(); status != exitTrouble || !strings.Contains(said, data) || !strings.Contains(said, "end it") || !strings.Contains(said, "--data") {
		t.Errorf("exit %d: %s", status, said)
	}
	if r, err := http.Get(p.Bench); err != nil || r.StatusCode != http.StatusOK {
		t.Errorf("the first: %v %v", r, err)
	} else {
		r.Body.Close()
	}
}

// TestInterrupted: Ctrl+C ends a command that waits for its input.
func TestInterrupted(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "polewise")
	if out, err := exec.Command("go", "build", "-o", binary, "polewise/server").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	for _, args := range [][]string{{"judge", demoPlan(t), "-"}, {"feed", "--url", "http://127.0.0.1:1"}} {
		cmd := exec.Command(binary, args...)
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		// It has no way to say that it waits; so often as it takes.
		again := time.NewTicker(200 * time.Millisecond)
		defer again.Stop()
		late := time.After(10 * time.Second)
		for over := false; !over; {
			select {
			case <-again.C:
				_ = cmd.Process.Signal(os.Interrupt) // it may have ended
			case <-ended:
				over = true
			case <-late:
				_ = cmd.Process.Kill()
				<-ended
				t.Errorf("polewise %s goes on after Ctrl+C", args[0])
				over = true
			}
		}
	}
}
