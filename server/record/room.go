package record

import (
	"math"
	"strings"
)

// The first page has to be one sheet, of A4 and of Letter, whatever is typed. Its
// HTML has no script, so that the drawings' height is chosen here, by an estimate
// of how many lines the words take in a wide typeface.

// Widths in em, at the sizes of record.css.
const (
	wholeLine  = 50 // across the page
	halfLine   = 20 // beside a heading of the list
	longSerial = 12 // beside the pad's name, in large type
)

// rooms are the drawings' heights, as classes of record.css, with the lines of
// words up to which each fits.
var rooms = []struct {
	class string
	lines int
}{{"", 9}, {"some", 13}, {"little", 19}, {"least", 26}}

// noteLeast is how many lines of the maker's note stand on the first page even
// where it is cut there; the whole then stands in the details.
const noteLeast = 2

// room picks the drawings' height, and what of the maker's note stands on the
// first page.
func (r *Record) room() (class, note string) {
	lines := 0
	wide := []string{r.openSay()}
	if r.Exception == nil {
		lines += 2 * (linesOf(r.cleanSay(), wholeLine*2/3) - 1) // in large type
	} else {
		e := r.Exception
		wide = append(wide, e.Reason, e.Wiring, strings.Join(e.Ohms[:min(12, len(e.Ohms))], ", "))
		if e.Unread {
			lines++
		}
		lines++ // the frame around it
	}
	for _, w := range wide {
		lines += linesOf(w, wholeLine)
	}
	phones := ""
	for i, p := range r.Phones {
		if i < 4 {
			phones += short(40, p.Device) + " (" + p.Route + "); "
		}
	}
	for _, w := range []string{r.Maker + " (as typed)", phones, r.counts(), short(90, r.Plan.Name)} {
		lines += max(0, linesOf(w, halfLine)-1)
	}
	note = r.Note
	most := rooms[len(rooms)-1].lines
	if n := linesOf(note, wholeLine); lines+n > most {
		note = firstLines(note, max(noteLeast, most-lines))
	}
	lines += linesOf(note, wholeLine)
	for _, k := range rooms {
		if class = k.class; lines <= k.lines {
			break
		}
	}
	return class, note
}

// linesOf is how many lines a text takes at most.
func linesOf(text string, em float64) (n int) {
	if text == "" {
		return 0
	}
	for l := range strings.SplitSeq(text, "\n") {
		n += max(1, int(math.Ceil(emWide(l)/em)))
	}
	return n
}

// firstLines cuts a text to so many lines across the page.
func firstLines(text string, most int) string {
	rs := []rune(text)
	for len(rs) > 0 && linesOf(string(rs)+"\u2026", wholeLine) > most {
		rs = rs[:len(rs)-1]
	}
	return strings.TrimSpace(string(rs)) + "\u2026"
}

// emWide is how wide a text is in a wide sans serif, in em.
func emWide(text string) (w float64) {
	for _, c := range text {
		switch {
		case strings.ContainsRune("iIljtfr.,:;'!|()[] ", c):
			w += 0.4
		case strings.ContainsRune("mwMW@%", c):
			w += 1
		case c >= 'A' && c <= 'Z':
			w += 0.77
		case c < 0x250:
			w += 0.64
		default:
			w += 1.05
		}
	}
	return w
}
