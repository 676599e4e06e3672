package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"polewise/field/capture"
	"polewise/field/verdict"
)

// SensorPlace is where a phone's magnetometer was found, for the phone page.
// Millimetres in the phone frame, from the mark.
type SensorPlace struct {
	OffsetMM   [2]float64 `json:"offset_mm"`
	OffsetSDMM [2]float64 `json:"offset_sd_mm"`
	Found      bool       `json:"found"`
	// Why says what is missing where it was not found well enough.
	Why   string `json:"why,omitempty"`
	Holds int    `json:"holds"`
}

// wellEnoughMM is the widest spread of a sensor's place that is worth a sticker.
const wellEnoughMM = 6.0

// Locate finds the sensor of a phone from readings that are no part of the check.
// Nothing of them is stored. It gives up with verdict.ErrHalted when ctx ends. Errors
// meant for the client are *ClientError.
func (d *Desk) Locate(ctx context.Context, raws []json.RawMessage) (*SensorPlace, error) {
	if len(raws) == 0 || len(raws) > maxMessageLines {
		return nil, &ClientError{Code: "no-lines", Say: fmt.Sprintf("Expected 1 to %d lines to find the sensor by, found %d.", maxMessageLines, len(raws)), Hint: "Begin finding the sensor again."}
	}
	d.mu.Lock()
	plan := d.check.plan
	d.mu.Unlock()
	lines := make([]capture.Line, len(raws))
	for i, raw := range raws {
		l, err := capture.ParseLine(raw)
		if err != nil {
			return nil, badLine(err, i+1, 0)
		}
		if e := capture.CheckLine(plan, l); e != nil {
			return nil, badLine(e, i+1, 0)
		}
		lines[i] = l
	}
	c, err := capture.FromLines(lines)
	if err != nil {
		return nil, &ClientError{Code: "bad-line", Say: err.Error(), Hint: "Begin finding the sensor again."}
	}
	m, err := verdict.Warm(plan)
	if err != nil {
		return nil, err
	}
	p, err := m.LocateUntil(ctx, c)
	if errors.Is(err, verdict.ErrHalted) {
		return nil, err
	}
	if err != nil {
		return nil, &ClientError{Code: "bad-line", Say: err.Error(), Hint: "Begin finding the sensor again."}
	}
	out := &SensorPlace{Holds: p.Holds, Why: p.Doubt}
	for a := range p.Offset {
		out.OffsetMM[a] = math.Round(p.Offset[a]*1e4) / 10
		out.OffsetSDMM[a] = math.Round(p.SD[a]*1e4) / 10
	}
	spread := math.Max(out.OffsetSDMM[0], out.OffsetSDMM[1])
	switch {
	case out.Why != "":
	case p.Holds < 2:
		out.Why = "one placing alone may be off by more than it shows"
	case spread > wellEnoughMM:
		out.Why = fmt.Sprintf("it may still be off by %.0f mm, and %.0f mm is wanted", math.Ceil(spread), wellEnoughMM)
	default:
		out.Found = true
	}
	return out, nil
}
