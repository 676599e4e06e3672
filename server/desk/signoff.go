package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/server/record"
	"polewise/server/store"
)

// signing is what a check knows of its being signed off.
type signing struct {
	label  store.Label
	signed *SignedState
	// news counts what may change the verdict, judged how much of it the verdict
	// at hand has seen.
	news, judged int
}

// SignOffState tells a page whether and how the pad can be signed off.
type SignOffState struct {
	Signed *SignedState `json:"signed"` // nil until it is
	// Refused says why it cannot be signed off now, not even with an exception.
	Refused string       `json:"refused"`
	Except  *record.Open `json:"except"` // what needs a written exception; nil when nothing does
	Ohms    []record.Ohm `json:"ohms"`
	// Measure says what the ohmmeter is to be put across next; empty where nothing is.
	Measure string      `json:"measure"`
	Unseen  int         `json:"unseen,omitempty"` // see record.TurnsUnseen; 0 where something needs an exception
	Label   store.Label `json:"label"`
}

// SignedState is what a page tells of a signed check.
type SignedState struct {
	Signed    string            `json:"signed"`
	Serial    string            `json:"serial"`
	Maker     string            `json:"maker"`
	Note      string            `json:"note"`
	Exception *record.Exception `json:"exception"`
	SHA256    string            `json:"sha256"`
}

// SignOff is what a person signs. It names what they were shown, so that nothing
// is signed that changed meanwhile.
type SignOff struct {
	Check  string            `json:"check"`
	Serial string            `json:"serial"`
	Maker  string            `json:"maker"`
	Note   string            `json:"note"`
	Except *record.Exception `json:"except"`
}

func closed(seq int64) error {
	return &ClientError{Code: "signed-off", Seq: seq, Say: "This pad is signed off; its check takes no more readings.", Hint: "Begin a new check of the same pad on the bench page, then read again."}
}

// closedTo tells whether a message comes too late: what is stored already is
// acknowledged again.
func (c *check) closedTo(sourceID string, seq int64) bool {
	if c.signed == nil {
		return false
	}
	s, ok := c.sources[sourceID]
	if !ok {
		return true
	}
	_, stored := s.messages[seq]
	return !stored
}

// nextStep is the prompt, also for a check that is signed.
func (c *check) nextStep(v *verdict.Verdict) Prompt {
	if c.signed != nil {
		return Prompt{Do: "done", Say: "This pad is signed off. For more readings begin a new check on the bench page."}
	}
	return c.prompt(v)
}

// captures is what every source sent and nobody took back. Each has a clock of its
// own: which of two that read the same ohms did so last is told by what came here last.
func (c *check) captures() []record.Source {
	var out []record.Source
	newest := map[string]int{} // by place, the source in out
	came := map[string]int{}
	for i, id := range c.order {
		s := c.sources[id]
		out = append(out, record.Source{ID: id, Captures: s.captures(c.thrown), Newest: map[string]bool{}})
		for _, cap := range out[i].Captures {
			for _, l := range cap.Lines {
				if o, ok := l.(capture.Ohms); ok {
					if at := s.came[placed{o.Across, o.T}]; at >= came[o.Across] {
						newest[o.Across], came[o.Across] = i, at
					}
				}
			}
		}
	}
	for place, i := range newest {
		out[i].Newest[place] = true
	}
	return out
}

func (c *check) signOff() *SignOffState {
	s := &SignOffState{Signed: c.signed, Label: c.label, Refused: c.refusal(), Ohms: record.Ohms(c.plan, c.captures())}
	if c.verdict != nil {
		if o := record.OpenOf(c.plan, c.verdict, s.Ohms, c.readBefore(c.verdict)); !o.Nothing() {
			s.Except = &o
			s.Measure = c.measure(c.verdict, &o)
		} else {
			s.Unseen = record.TurnsUnseen(c.plan, c.verdict, s.Ohms)
		}
	}
	return s
}

// measure says what the ohmmeter is to be put across next: what the verdict asks for, or,
// where the ohms of the whole wiring are still missing, the pad.
func (c *check) measure(v *verdict.Verdict, o *record.Open) string {
	across := ""
	switch {
	case v.Next != nil && v.Next.Route == "ohms":
		across = cmp.Or(v.Next.Across, "coil:"+v.Next.At)
	case o.Unread:
		across = "pad"
	default:
		return ""
	}
	say := "Supply off: measure across the pad's plug."
	if kind, id, ok := strings.Cut(across, ":"); ok {
		say = fmt.Sprintf("Supply off: measure %s, unplugged from the rest.", named(kind, id))
	}
	if o.Unread && c.ohmsBefore() {
		say = "Ohms noted before the mend count no more here: joints may have been opened. " + say
	}
	return say
}

// ohmsBefore tells whether ohms were noted before the mend.
func (c *check) ohmsBefore() bool {
	if c.before == nil {
		return false
	}
	for _, cap := range c.before.Captures {
		for _, l := range cap.Lines {
			if _, ok := l.(capture.Ohms); ok {
				return true
			}
		}
	}
	return false
}

// refusal says why a check cannot be signed off at all.
func (c *check) refusal() string {
	switch {
	case c.signed != nil:
		return "This check is signed off."
	case c.Rehearsal != "":
		return "A rehearsal is not a pad: it is never signed off."
	case c.verdict == nil || !slices.ContainsFunc(c.verdict.Coils, func(k verdict.Coil) bool { return k.Used > 0 }):
		return "Nothing has been read of this pad yet: lay a phone on its coils first."
	}
	return ""
}

// SignOff makes the record of the check in progress and closes the check. What
// the person sends is refused with a *ClientError when it does not hold.
func (d *Desk) SignOff(ctx context.Context, q SignOff) (*SignedState, error) {
	for _, f := range []struct {
		name string
		text *string
		most int
	}{{"serial number", &q.Serial, record.MaxSerial}, {"name or initials", &q.Maker, record.MaxMaker}, {"note", &q.Note, record.MaxNote}} {
		var err error
		if *f.text, err = typed(f.name, *f.text, f.most); err != nil {
			return nil, err
		}
	}
	if q.Maker == "" {
		return nil, &ClientError{Code: "no-maker", Say: "Nobody's name or initials stand on the record.", Hint: "Type who signs."}
	}
	d.mu.Lock()
	c, news, judged, v := d.check, d.check.news, d.check.judged, d.check.verdict
	refused := c.refusal()
	sources := c.captures()
	var before []string
	if v != nil {
		before = c.readBefore(v)
	}
	d.mu.Unlock()
	switch {
	case q.Check != c.ID:
		return nil, &ClientError{Code: "other-check", Say: "Another check is on the bench now.", Hint: "Look at the page again before you sign."}
	case refused != "":
		return nil, &ClientError{Code: "not-to-be-signed", Say: refused, Hint: "Look at the check that is on the bench now."}
	case judged != news:
		return nil, &ClientError{Code: "still-judging", Say: "The last readings are still being weighed.", Hint: "Wait for the verdict, look at it, then sign."}
	}
	r, err := record.Collect(c.plan, string(c.PlanTOML), v, sources)
	if err != nil {
		return nil, err
	}
	if r.Exception, err = exception(record.OpenOf(c.plan, v, r.Ohms, before), q.Except); err != nil {
		return nil, err
	}
	if err := r.AddMap(ctx, c.plan); err != nil {
		return nil, err
	}
	now := time.Now().UTC().Truncate(time.Second)
	r.Check = record.Check{ID: c.ID, Began: c.Began.UTC().Format(time.RFC3339), After: c.After}
	if c.before != nil {
		r.Check.Mend = c.before.Mend
	}
	if r.OutFace, err = d.store.OutFace(ctx); err != nil {
		return nil, err
	}
	r.Signed, r.Serial, r.Maker, r.Note = now.Format(time.RFC3339), q.Serial, q.Maker, q.Note
	text, sum, err := r.Encode()
	if err != nil {
		return nil, err
	}
	page, err := r.HTML(sum)
	if err != nil {
		return nil, err
	}
	state, err := d.keepRecord(ctx, c, news, r, store.Record{CheckID: c.ID, Signed: now, Serial: r.Serial, Maker: r.Maker, Note: r.Note, Exception: r.Exception != nil, SHA256: sum, JSON: text, HTML: page})
	if err != nil {
		return nil, err
	}
	d.send(toPhones, map[string]any{"prompt": c.nextStep(v), "signed": true})
	d.PushState()
	return state, nil
}

// keepRecord stores a record unless something came in since it was made.
func (d *Desk) keepRecord(ctx context.Context, c *check, news int, r *record.Record, s store.Record) (*SignedState, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.check != c || c.news != news || c.signed != nil {
		return nil, &ClientError{Code: "changed", Say: "Something was read while the record was made.", Hint: "Look at the verdict again, then sign."}
	}
	if err := d.store.SaveRecord(ctx, s); err != nil {
		return nil, fmt.Errorf("the record could not be stored: %w", err)
	}
	c.signed = signedState(r, s.SHA256)
	c.label = store.Label{Serial: r.Serial, Note: r.Note}
	return c.signed, nil
}

func signedState(r *record.Record, sum string) *SignedState {
	return &SignedState{Signed: r.Signed, Serial: r.Serial, Maker: r.Maker, Note: r.Note, Exception: r.Exception, SHA256: sum}
}

// exception checks what the person excepts against what stands open.
func exception(open record.Open, asked *record.Exception) (*record.Exception, error) {
	if open.Nothing() {
		if asked != nil {
			return nil, &ClientError{Code: "changed", Say: "Nothing needs an exception any more: every coil is claimed as planned, and the ohms agree.", Hint: "Look at the verdict again, then sign without one."}
		}
		return nil, nil
	}
	if asked == nil {
		return nil, &ClientError{Code: "needs-exception", Say: "This pad cannot be signed off as it is: " + openWords(open), Hint: "Read or mend what is missing, or write down why it is signed all the same."}
	}
	reason, err := typed("reason", asked.Reason, record.MaxReason)
	if err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, &ClientError{Code: "no-reason", Say: "An exception needs its reason in writing.", Hint: "Say in a sentence why this pad is signed all the same."}
	}
	if !slices.Equal(open.Coils, asked.Coils) || !slices.Equal(open.Ohms, asked.Ohms) || open.Unread != asked.Unread || open.Wiring != asked.Wiring {
		return nil, &ClientError{Code: "changed", Say: "What needs an exception has changed since the page was shown: " + openWords(open), Hint: "Look at it again, then sign."}
	}
	return &record.Exception{Reason: reason, Open: open}, nil
}

func openWords(o record.Open) string {
	var parts []string
	if len(o.Coils) > 0 {
		parts = append(parts, fmt.Sprintf("Not read, or not claimed as planned: %s.", few(o.Coils)))
	}
	if len(o.Ohms) > 0 {
		parts = append(parts, fmt.Sprintf("Ohms against the plan: %s.", few(o.Ohms)))
	}
	if o.Unread {
		parts = append(parts, "The ohms of the whole wiring were not read.")
	}
	if o.Wiring != "" {
		parts = append(parts, o.Wiring)
	}
	return strings.Join(parts, " ")
}

func few(ids []string) string {
	const shown = 8
	if len(ids) <= shown {
		return strings.Join(ids, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(ids[:shown], ", "), len(ids)-shown)
}

// typed checks what a person typed and takes outer space off.
func typed(name, text string, most int) (string, error) {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n"))
	if n := utf8.RuneCountInString(text); n > most {
		return "", &ClientError{Code: "too-long", Say: fmt.Sprintf("The %s has %d characters; at most %d fit on the record.", name, n, most), Hint: "Shorten it."}
	}
	if !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }) {
		return "", &ClientError{Code: "bad-text", Say: fmt.Sprintf("The %s has characters that cannot be printed.", name), Hint: "Type it anew."}
	}
	if n := strings.Count(text, "\n"); n >= maxTypedLines {
		return "", &ClientError{Code: "too-long", Say: fmt.Sprintf("The %s has %d lines; at most %d fit on the record.", name, n+1, maxTypedLines), Hint: "Write it in fewer lines."}
	}
	return text, nil
}

// maxTypedLines bounds the lines of what a person types.
const maxTypedLines = 8

// SetLabel keeps what a person calls the pad of a check that is not signed.
func (d *Desk) SetLabel(ctx context.Context, id string, l store.Label) (store.Label, error) {
	l, err := d.setLabel(ctx, id, l)
	if err == nil && d.CheckID() == id {
		d.PushState()
	}
	return l, err
}

func (d *Desk) setLabel(ctx context.Context, id string, l store.Label) (store.Label, error) {
	var err error
	if l.Serial, err = typed("serial number", l.Serial, record.MaxSerial); err != nil {
		return l, err
	}
	if l.Note, err = typed("note", l.Note, record.MaxNote); err != nil {
		return l, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	known, err := d.store.CheckByID(ctx, id)
	if err != nil {
		return l, err
	}
	if known == nil {
		return l, noCheck(id)
	}
	r, err := d.store.RecordOf(ctx, id)
	if err != nil {
		return l, err
	}
	if r != nil {
		return l, &ClientError{Code: "signed-off", Say: "This check is signed off; serial number and note stay as they were signed.", Hint: "To write something else, begin a new check of the same pad and sign that."}
	}
	if err := d.store.SetLabel(ctx, id, l); err != nil {
		return l, err
	}
	if d.check.ID == id {
		d.check.label = l
	}
	return l, nil
}

func noCheck(id string) error {
	return &ClientError{Code: "no-check", Say: fmt.Sprintf("There is no check %q here.", id), Hint: "Look in the list of checks."}
}

// BeginSame begins another check of the same pad. Its serial number goes along.
func (d *Desk) BeginSame(ctx context.Context) error {
	d.mu.Lock()
	old := d.check
	d.mu.Unlock()
	return d.beginSame(ctx, old, nil)
}

func (d *Desk) beginSame(ctx context.Context, old *check, mend []verdict.Mend) error {
	return d.begin(ctx, PlanText{Name: old.PlanName, TOML: old.PlanTOML}, nil, old, mend)
}

// loadSigning finds label and record of a stored check. The verdict of a signed
// check is the one signed.
func (d *Desk) loadSigning(ctx context.Context, c *check) (err error) {
	if c.label, err = d.store.LabelOf(ctx, c.ID); err != nil {
		return err
	}
	stored, err := d.store.RecordOf(ctx, c.ID)
	if err != nil || stored == nil {
		return err
	}
	r, err := record.Decode(stored.JSON)
	if err != nil {
		return err
	}
	c.signed, c.verdict = signedState(r, stored.SHA256), r.Verdict
	c.label = store.Label{Serial: r.Serial, Note: r.Note}
	return nil
}
