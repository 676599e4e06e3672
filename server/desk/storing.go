package desk

import (
	"cmp"
	"errors"
	"fmt"

	"polewise/server/store"
)

// storingLocked tells the bench pages that what is read is not stored, and that it is
// again: where the disk is full, only somebody at the bench can make room on it.
func (d *Desk) storingLocked(err error) {
	var taken *store.SeqTakenError
	if errors.As(err, &taken) {
		return // the disk is well
	}
	trouble := ""
	if err != nil {
		why := cmp.Or(store.Remedy(err), err.Error()+".")
		trouble = "What is read now cannot be stored, and does not count. " + why + " Phones keep it and send it again by themselves."
	}
	d.tellStoringLocked(trouble)
}

func (d *Desk) tellStoringLocked(trouble string) {
	if trouble == d.storing {
		return
	}
	d.storing = trouble
	d.sendLocked(toBenches, map[string]any{"type": "storing", "trouble": trouble})
}

// What one check holds has an end: all of it is gone through again for every state that a
// page is told, which of so many lines takes 0.3 to 0.4 s. A pad of two hundred coils is
// read in some tens of thousands.
const (
	maxSources = 100 // each tab of a browser is one, and a name costs a sender nothing
	maxLines   = 500_000
)

// fullLocked says why the check takes no more of a source. What is stored may be sent
// again all the same, and is acknowledged again.
func (d *Desk) fullLocked(s *source, seq int64, lines int) error {
	c := d.check
	if _, stored := s.messages[seq]; stored {
		return nil
	}
	if len(s.messages) == 0 && s.id != BenchSource {
		sent := 0
		for _, o := range c.sources {
			if len(o.messages) > 0 {
				sent++
			}
		}
		if sent >= maxSources {
			return &ClientError{Code: "too-many-sources", Seq: seq, Say: fmt.Sprintf("%d phones have sent readings of this pad already; this one's are not taken.", sent), Hint: "Read on with one of those, in the tab it has open, or begin a new check on the bench page."}
		}
	}
	if c.lines+lines > maxLines {
		d.tellStoringLocked(fmt.Sprintf("This check is full with %d lines: what is read now does not count. What was read before is kept. Begin another check of this pad, then read on.", c.lines))
		return &ClientError{Code: "too-many-lines", Seq: seq, Say: fmt.Sprintf("This check is full: it holds %d lines, and more than %d are not taken.", c.lines, maxLines), Hint: "What was acknowledged is kept. Begin another check of this pad on the bench page, then read on."}
	}
	return nil
}
