package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"polewise/server/feed"
	"polewise/server/store"
)

// buildProgram builds polewise as it is shipped.
func buildProgram(t *testing.T) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "polewise")
	if out, err := exec.Command("go", "build", "-o", binary, "polewise/server").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return binary
}

// taughtFolder is a data folder in which a source "port" has been taught.
func taughtFolder(t *testing.T) string {
	t.Helper()
	data := t.TempDir()
	st, err := store.Open(data)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	raw, err := json.Marshal(feed.Dialect{Name: "port probe", Source: "port", Shape: []string{"ms", "x", "y", "z"}, Columns: []string{"ms", "x", "y", "z"},
		Field: [3]string{"x", "y", "z"}, Unit: "uT", Axes: feed.AsPicked, Time: "ms", TimeUnit: "ms"})
	if err == nil {
		err = st.KeepDialect(context.Background(), "port probe", "", raw)
	}
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// stored returns every message of the check in progress, in order.
func stored(t *testing.T, data string) []store.Message {
	t.Helper()
	st, err := store.Open(data)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	check, err := st.LastCheck(context.Background())
	if err != nil || check == nil {
		t.Fatal(check, err)
	}
	messages, err := st.Messages(context.Background(), check.ID)
	if err != nil {
		t.Fatal(err)
	}
	return messages
}

// samples returns the stored samples of a source, in order.
func samples(t *testing.T, data, source string) []string {
	t.Helper()
	var out []string
	for _, m := range stored(t, data) {
		for _, l := range m.Lines {
			if m.Source == source && bytes.Contains(l, []byte(`"type":"b"`)) {
				out = append(out, string(l))
			}
		}
	}
	return out
}

// TestFeedFromAPipe has the built command read a pipe as it would a port, with a
// stretch in which the bench is dead in between, killed the hard way. Whatever
// the bench had acknowledged, and what was sent while it was away, is stored.
func TestFeedFromAPipe(t *testing.T) {
	binary, data := buildProgram(t), taughtFolder(t)
	p := startBuilt(t, binary, data)
	host := strings.TrimSuffix(strings.TrimPrefix(p.Bench, "http://"), "/")
	in, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	cmd := exec.Command(binary, "feed", "--source", "port", "--url", p.Bench, "--json")
	var summary, words bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = in, &summary, &words
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	in.Close()
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	ms := 0
	say := func(n int) {
		for range n {
			ms += 15
			if _, err := fmt.Fprintf(out, "%d\t%d,5\t2\t-42\r\n", ms, ms/15); err != nil {
				t.Fatal(err)
			}
			time.Sleep(15 * time.Millisecond)
		}
	}
	fmt.Fprint(out, "ms\tx\ty\tz\r\n")
	say(30)
	fmt.Fprint(out, "garbage\r\n7\t1\r\n")
	time.Sleep(500 * time.Millisecond)
	acknowledged := readingsTaken(t, p.Bench)
	if err := p.cmd.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	_ = p.cmd.Wait()
	before := samples(t, data, "port")
	if acknowledged.Kept < 3 || len(before) < acknowledged.Kept {
		t.Fatalf("%+v acknowledged, %d samples stored after SIGKILL\n%s", acknowledged, len(before), words.String())
	}
	say(10)
	bench := restartOn(t, binary, data, host)
	say(10)
	out.Close()
	err = cmd.Wait()
	if err != nil {
		t.Fatalf("feed ended with %v\n%s", err, words.String())
	}
	var sum struct {
		Lines    int    `json:"lines"`
		Messages int    `json:"messages"`
		Readings int    `json:"readings"`
		Kept     int    `json:"kept"`
		Bad      int    `json:"bad"`
		Taught   string `json:"taught"`
	}
	if err := json.Unmarshal(summary.Bytes(), &sum); err != nil {
		t.Fatalf("%q: %v", summary.String(), err)
	}
	if sum.Lines != 53 || sum.Readings != 50 || sum.Bad != 2 || sum.Taught != "port probe" {
		t.Errorf("summary %+v", sum)
	}
	for _, want := range []string{"line 32: expected numbers, found none", "line 33: expected 4 columns as in the header, found 2", "Waiting up to 30s", "answers again"} {
		if !strings.Contains(words.String(), want) {
			t.Errorf("it did not say %q:\n%s", want, words.String())
		}
	}
	if err := bench.Process.Kill(); err != nil { // the folder is its own until then
		t.Fatal(err)
	}
	_ = bench.Wait()
	after := samples(t, data, "port")
	if len(after) < sum.Kept || len(after) <= len(before) {
		t.Errorf("%d samples stored, %d before the kill, %d said to be kept", len(after), len(before), sum.Kept)
	}
	for i := range before {
		if after[i] != before[i] {
			t.Errorf("sample %d changed from %s to %s", i, before[i], after[i])
		}
	}
}

// readingsTaken is what the bench has of the port.
func readingsTaken(t *testing.T, bench string) feed.Counts {
	t.Helper()
	r, err := http.Get(bench + "api/feeds")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var list struct {
		Feeds []feed.SourceState `json:"feeds"`
	}
	if err := json.NewDecoder(r.Body).Decode(&list); err != nil || len(list.Feeds) != 1 {
		t.Fatalf("%+v %v", list, err)
	}
	return list.Feeds[0].Counts
}

// restartOn starts the bench again at the address it had.
func restartOn(t *testing.T, binary, data, host string) *exec.Cmd {
	t.Helper()
	ready := filepath.Join(t.TempDir(), "ready.json")
	cmd := exec.Command(binary, "bench", "--data", data, "--ready-file", ready, "--listen", host, "--phone-listen", "127.0.0.1:0")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(ready); err == nil {
			return cmd
		}
		if time.Now().After(deadline) {
			t.Fatal("the program did not listen again within 30 s")
		}
	}
}

// broken is an input that fails after a line.
type broken struct{ said bool }

func (b *broken) Read(p []byte) (int, error) {
	if b.said {
		return 0, errors.New("device gone")
	}
	b.said = true
	return copy(p, "1,2,3\n"), nil
}

func TestFeedExitStatus(t *testing.T) {
	answer := `{"messages":1,"taught":"x"}`
	status := http.StatusOK
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		w.WriteHeader(status)
		fmt.Fprint(w, answer)
	}))
	defer bench.Close()
	notReady := filepath.Join(t.TempDir(), "ready.json")
	if err := os.WriteFile(notReady, []byte(`{"hello":1}`), 0o644); err != nil {
		t.Fatal(err)
	}
	ready := filepath.Join(t.TempDir(), "good.json")
	if err := os.WriteFile(ready, fmt.Appendf(nil, `{"bench_url":"%s/"}`, bench.URL), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name   string
		stdin  io.Reader
		args   []string
		status int
		answer string
		exit   int
		says   string
	}{
		{"sent", strings.NewReader("1,2,3\n"), []string{"--url", bench.URL}, 200, "", 0, "1 lines sent"},
		{"sent by ready file", strings.NewReader("1,2,3"), []string{"--ready-file", ready}, 200, "", 0, "1 lines sent"},
		{"an argument", strings.NewReader(""), []string{"/dev/ttyUSB0"}, 0, "", exitUsage, "polewise feed < /dev/ttyUSB0"},
		{"bad source", strings.NewReader(""), []string{"--source", "a b"}, 0, "", exitUsage, "--source"},
		{"bad address", strings.NewReader(""), []string{"--url", "ftp://x"}, 0, "", exitUsage, "--url"},
		{"address with a path", strings.NewReader(""), []string{"--url", bench.URL + "/key/"}, 0, "", exitUsage, "bench page's address"},
		{"both addresses", strings.NewReader(""), []string{"--url", bench.URL, "--ready-file", ready}, 0, "", exitUsage, "give one"},
		{"no ready file", strings.NewReader(""), []string{"--ready-file", "nowhere.json"}, 0, "", exitData, "nowhere.json"},
		{"strange ready file", strings.NewReader(""), []string{"--ready-file", notReady}, 0, "", exitData, "something else"},
		{"nothing", strings.NewReader(""), []string{"--url", bench.URL}, 200, "", exitData, "was empty"},
		{"no numbers", strings.NewReader("hello\n"), []string{"--url", bench.URL}, 200, `{"bad":1}`, exitData, "none of 1 lines"},
		{"nobody there", strings.NewReader("1,2,3\n"), []string{"--url", "http://127.0.0.1:9", "--wait", "0s"}, 0, "", exitUnavailable, "Is polewise running"},
		{"refused", strings.NewReader("1,2,3\n"), []string{"--url", bench.URL}, 409, `{"error":{"code":"source-taken","say":"A phone is there.","hint":"Use another name."}}`, exitUnavailable, "A phone is there. Use another name."},
		{"not polewise", strings.NewReader("1,2,3\n"), []string{"--url", bench.URL}, 404, `nothing`, exitUnavailable, "not polewise's"},
		{"the phone page's port", strings.NewReader("1,2,3\n"), []string{"--url", bench.URL}, 400, "Client sent an HTTP request to an HTTPS server.\n", exitUnavailable, "the phone page's port"},
		{"unplugged", &broken{}, []string{"--url", bench.URL}, 200, "", exitReading, "device gone"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			status, answer = tc.status, `{"messages":1,"taught":"x"}`
			if tc.answer != "" {
				answer = tc.answer
			}
			var o, e bytes.Buffer
			got := run(context.Background(), append([]string{"feed"}, tc.args...), tc.stdin, &o, &e)
			if got != tc.exit || !strings.Contains(o.String()+e.String(), tc.says) {
				t.Errorf("status %d, expected %d; said %q %q, expected %q", got, tc.exit, o.String(), e.String(), tc.says)
			}
			if got != 0 && o.Len() > 0 {
				t.Errorf("something on standard output: %q", o.String())
			}
		})
	}
}

func TestFeedLines(t *testing.T) {
	long := strings.Repeat("1,", feed.MaxLineBytes)
	to := make(chan []byte, 20)
	if err := readLines(strings.NewReader("a\nb\r\nc\rd\n\n"+long+"\ne"), to, nil); err != nil {
		t.Fatal(err)
	}
	var got []string
	for l := range to {
		if len(l) > 100 {
			l = fmt.Appendf(nil, "%d bytes", len(l))
		}
		got = append(got, string(l))
	}
	if want := fmt.Sprintf("[a b c d  %d bytes e]", feed.MaxLineBytes+1); fmt.Sprint(got) != want {
		t.Errorf("got %q, expected %s", got, want)
	}
}
