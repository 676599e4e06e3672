package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"polewise/server/desk"
	"polewise/server/feed"
)

// exitReading is feed's exit status where standard input cannot be read.
const exitReading = 74

// feedOptions are the flags of feed.
type feedOptions struct {
	source, url, readyFile string
	wait                   time.Duration
	json                   bool
}

const defaultBenchURL = "http://127.0.0.1:8770/"

func feedCommand() *cobra.Command {
	var o feedOptions
	c := &cobra.Command{
		Use:   "feed",
		Short: "Send another sensor's readings from standard input to the bench",
		Long: `feed sends standard input to the bench line by line: a serial port, a pipe, a
file. A line may be JSON, a row of a table (comma, semicolon, tab or spaces; with
or without a header), or words and numbers like "x: 12 y: -7".

  polewise feed < /dev/ttyUSB0
  my-logger | polewise feed --source probe

Which numbers are the field is shown once, on the bench page.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage(fmt.Errorf("feed reads standard input and takes no file: polewise feed < %s", args[0]))
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return sendFeed(c, o) },
	}
	f := c.Flags()
	f.StringVar(&o.source, "source", "feed", "`NAME` of the sensor on the bench page")
	f.StringVar(&o.url, "url", "", "bench page's `URL` (default "+defaultBenchURL+")")
	f.StringVar(&o.readyFile, "ready-file", "", "take the address from this `FILE`, written by bench --ready-file")
	f.DurationVar(&o.wait, "wait", 30*time.Second, "`TIME` the bench may be away before this ends")
	f.BoolVar(&o.json, "json", false, "print the summary as JSON")
	return c
}

var sourceName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,32}$`)

// feedAddress is where readings go.
func feedAddress(o feedOptions) (*url.URL, error) {
	if !sourceName.MatchString(o.source) {
		return nil, usage(fmt.Errorf("--source %q: expected 1 to 32 letters, digits, - or _", o.source))
	}
	if o.wait < 0 {
		return nil, usage(fmt.Errorf("--wait %v: expected a time of 0 or more, as in 30s", o.wait))
	}
	at := o.url
	switch {
	case o.url != "" && o.readyFile != "":
		return nil, usage(errors.New("--url and --ready-file say the same thing: give one"))
	case o.readyFile != "":
		raw, err := os.ReadFile(o.readyFile)
		if err != nil {
			return nil, badData(fmt.Errorf("the ready file cannot be read: %w. Is the bench running with --ready-file?", err))
		}
		var u urls
		if err := json.Unmarshal(raw, &u); err != nil || u.Bench == "" {
			return nil, badData(fmt.Errorf("%s: expected the addresses that bench --ready-file writes, found something else", o.readyFile))
		}
		at = u.Bench
	case at == "":
		at = defaultBenchURL
	}
	u, err := url.Parse(at)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || strings.Trim(u.Path, "/") != "" {
		return nil, usage(fmt.Errorf("--url %q: expected the bench page's address, as in %s", at, defaultBenchURL))
	}
	return u.JoinPath("api", "feed"), nil
}

// Bounds of a batch: what goes out in one request.
const (
	batchEvery = 100 * time.Millisecond
	batchLines = 200
	batchBytes = 256 << 10
	lastWords  = 3 * time.Second // for what is left after Ctrl+C
)

// sender sends lines in batches and counts what came of them.
type sender struct {
	o        feedOptions
	at       *url.URL
	client   *http.Client
	run      string
	errs     io.Writer
	batch    int64
	total    feed.Counts
	lines    int
	taught   string
	told     int  // bad lines printed
	untaught bool // said that nobody has taught it yet
}

const maxTold = 10

func sendFeed(c *cobra.Command, o feedOptions) error {
	at, err := feedAddress(o)
	if err != nil {
		return err
	}
	s := &sender{o: o, at: at, client: &http.Client{Timeout: 20 * time.Second}, run: rand.Text(), errs: c.ErrOrStderr()}
	ctx, end := untilStopped(c.Context())
	defer end()
	lines := make(chan []byte, batchLines)
	ended := make(chan error, 1)
	stop := make(chan struct{})
	defer close(stop)
	// The reader waits in a read that nothing can interrupt; it ends with its
	// input, or with the process.
	go func() { ended <- readLines(c.InOrStdin(), lines, stop) }()

	var chunk bytes.Buffer
	first, n := 1, 0
	flush := func(ctx context.Context) error {
		if n == 0 {
			return nil
		}
		err := s.send(ctx, chunk.Bytes(), first)
		first, n = first+n, 0
		chunk.Reset()
		return err
	}
	tick := time.NewTicker(batchEvery)
	defer tick.Stop()
	for lines != nil {
		err = nil
		select {
		case line, open := <-lines:
			if !open {
				lines = nil
				continue
			}
			chunk.Write(line)
			chunk.WriteByte('\n')
			s.lines++
			if n++; n >= batchLines || chunk.Len() >= batchBytes {
				err = flush(ctx)
			}
		case <-tick.C:
			err = flush(ctx)
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastWords)
			defer cancel()
			if err := flush(last); err != nil {
				return err
			}
			return s.summary(c.OutOrStdout())
		}
		if err != nil {
			return err
		}
	}
	if err := flush(ctx); err != nil {
		return err
	}
	if err := <-ended; err != nil {
		return &exitError{exitReading, fmt.Errorf("standard input cannot be read any more after line %d: %w. Was the device unplugged?", s.lines, err)}
	}
	if s.lines == 0 {
		return badData(errors.New("standard input was empty: expected lines with numbers. Is the port the right one, and at its right speed?"))
	}
	if s.total.Messages == 0 {
		return badData(fmt.Errorf("none of %d lines holds numbers that can be used. Is the port at its right speed?", s.lines))
	}
	return s.summary(c.OutOrStdout())
}

// readLines cuts input into lines, at line feeds or carriage returns, and drops
// what of a line is over the bound. Nothing is read ahead of what can be sent.
func readLines(in io.Reader, to chan<- []byte, stop <-chan struct{}) error {
	defer close(to)
	skipping := false
	sc := bufio.NewScanner(in)
	sc.Buffer(make([]byte, 0, 4096), 2*feed.MaxLineBytes)
	sc.Split(func(data []byte, atEOF bool) (int, []byte, error) {
		i := bytes.IndexAny(data, "\r\n")
		switch {
		case i >= 0 && data[i] == '\r' && i+1 == len(data) && !atEOF:
			return 0, nil, nil // a line feed may follow
		case i >= 0:
			next := i + 1
			if data[i] == '\r' && next < len(data) && data[next] == '\n' {
				next++
			}
			if skipping {
				skipping = false
				return next, nil, nil
			}
			return next, data[:i], nil
		case len(data) > feed.MaxLineBytes: // the bench says that it is too long
			if skipping {
				return len(data), nil, nil
			}
			skipping = true
			return len(data), data[:feed.MaxLineBytes+1], nil
		case atEOF && len(data) > 0 && !skipping:
			return len(data), data, nil
		case atEOF:
			return len(data), nil, nil
		}
		return 0, nil, nil
	})
	for sc.Scan() {
		select {
		case to <- bytes.Clone(sc.Bytes()):
		case <-stop:
			return nil
		}
	}
	return sc.Err()
}

// send sends a batch until the bench has it, or has been away too long.
func (s *sender) send(ctx context.Context, chunk []byte, first int) error {
	s.batch++
	at := *s.at
	at.RawQuery = url.Values{"source": {s.o.source}, "run": {s.run}, "batch": {strconv.FormatInt(s.batch, 10)}, "line": {strconv.Itoa(first)}}.Encode()
	away := time.Time{}
	for pause := 200 * time.Millisecond; ; pause = min(2*pause, 2*time.Second) {
		status, answer, refusal, err := s.post(ctx, at.String(), chunk)
		switch {
		case err == nil && status == http.StatusOK:
			if !away.IsZero() {
				fmt.Fprintln(s.errs, "The bench answers again.")
			}
			s.count(answer)
			return nil
		case err == nil && (status == http.StatusTooManyRequests || status == http.StatusRequestTimeout || refusal.Code == "new-check"):
			// It is there, and says when to come again.
		case err == nil && status < 500:
			return &exitError{exitUnavailable, fmt.Errorf("the bench refuses these readings (%d): %s", status, strings.TrimSpace(refusal.Say+" "+refusal.Hint))}
		default:
			if err == nil {
				err = fmt.Errorf("it answers %d: %s", status, refusal.Say)
			}
			if away.IsZero() {
				away = time.Now()
				fmt.Fprintf(s.errs, "The bench at %s does not take readings (%v). Waiting up to %v.\n", s.at.Host, unwrapped(err), s.o.wait)
			}
			if ctx.Err() != nil || time.Since(away) >= s.o.wait {
				return &exitError{exitUnavailable, fmt.Errorf("the bench at %s does not take readings: %w. Is polewise running there? Name its address with --url", s.at.Host, unwrapped(err))}
			}
		}
		wait := time.NewTimer(pause)
		select {
		case <-ctx.Done():
			wait.Stop()
			return &exitError{exitUnavailable, errors.New("ended before the bench had taken the last readings")}
		case <-wait.C:
		}
	}
}

// unwrapped leaves out the address, which is in the message already.
func unwrapped(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

func (s *sender) post(ctx context.Context, at string, chunk []byte) (status int, a feed.Answer, refusal desk.ClientError, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, at, bytes.NewReader(chunk))
	if err != nil {
		return 0, a, refusal, err
	}
	req.Header.Set("Content-Type", "text/plain; charset=utf-8")
	r, err := s.client.Do(req)
	if err != nil {
		return 0, a, refusal, err
	}
	defer r.Body.Close()
	var body struct {
		feed.Answer
		Error desk.ClientError `json:"error"`
	}
	raw, err := io.ReadAll(io.LimitReader(r.Body, 1<<20))
	if err != nil {
		return 0, a, refusal, err
	}
	if json.Unmarshal(raw, &body) != nil {
		if r.StatusCode == http.StatusBadRequest && bytes.Contains(raw, []byte("HTTPS server")) { // so net/http says
			return r.StatusCode, a, desk.ClientError{Code: "strange", Say: "That is the phone page's port.", Hint: "Name the bench page's, usually 8770."}, nil
		}
		return r.StatusCode, a, desk.ClientError{Code: "strange", Say: "Its answer is not polewise's."}, nil
	}
	if r.StatusCode == http.StatusOK && body.Error.Code != "" {
		return http.StatusBadGateway, a, body.Error, nil
	}
	return r.StatusCode, body.Answer, body.Error, nil
}

// count adds an answer up and tells the person what they should know.
func (s *sender) count(a feed.Answer) {
	s.total.Add(a.Counts)
	s.taught = a.Taught
	for _, b := range a.Lines {
		if s.told == maxTold {
			fmt.Fprintln(s.errs, "Further lines that cannot be used are only counted.")
		}
		if s.told++; s.told > maxTold {
			break
		}
		fmt.Fprintln(s.errs, b)
	}
	if a.Taught == "" && a.Messages > 0 && !s.untaught {
		s.untaught = true
		fmt.Fprintf(s.errs, "Nobody has shown yet which of these numbers are the field. Do so at http://%s/ under \"Other sensors\"; until then nothing is kept.\n", s.at.Host)
	}
}

func (s *sender) summary(w io.Writer) error {
	if s.o.json {
		return json.NewEncoder(w).Encode(struct {
			Lines int `json:"lines"`
			feed.Counts
			Taught string `json:"taught"`
		}{s.lines, s.total, s.taught})
	}
	_, err := fmt.Fprintf(w, "%d lines sent: %d readings of the field, %d samples kept, %d lines not usable.\n", s.lines, s.total.Readings, s.total.Kept, s.total.Bad)
	return err
}
