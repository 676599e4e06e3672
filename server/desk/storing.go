package desk

import (
	"cmp"
	"errors"

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
	if trouble == d.storing {
		return
	}
	d.storing = trouble
	d.sendLocked(toBenches, map[string]any{"type": "storing", "trouble": trouble})
}
