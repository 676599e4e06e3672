package desk

import (
	"strings"
	"testing"
)

// TestVerdictThatBreaksOff: it comes back as an error, and the program goes on.
func TestVerdictThatBreaksOff(t *testing.T) {
	d := &Desk{}
	v, account, err := d.judged(t.Context(), nil, nil, nil) // no model at all
	if v != nil || account != nil || err == nil || !strings.Contains(err.Error(), "the verdict broke off") {
		t.Errorf("%v, %v, %v", v, account, err)
	}
}
