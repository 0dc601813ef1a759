package action

import (
	"encoding/json"
	"fmt"
	"time"
)

// Amend gives a body other values: set is a JSON object of its fields, and of
// "at" where the time was wrong.
func Amend(body Body, at time.Time, set json.RawMessage) (Body, time.Time, error) {
	var change map[string]json.RawMessage
	if err := json.Unmarshal(set, &change); err != nil {
		return nil, at, fmt.Errorf("the correction is not a JSON object: %w", err)
	}
	if raw, ok := change["at"]; ok {
		if err := json.Unmarshal(raw, &at); err != nil {
			return nil, at, fmt.Errorf("at is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)")
		}
		delete(change, "at")
	}
	if len(change) == 0 {
		return body, at, nil
	}
	old, err := json.Marshal(body)
	if err != nil {
		return nil, at, fmt.Errorf("read the record corrected: %w", err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(old, &fields); err != nil {
		return nil, at, fmt.Errorf("read the record corrected: %w", err)
	}
	if _, set := change["gauge"]; change["pressure_psi"] != nil && !set {
		delete(fields, "gauge") // it was of the reading that is corrected
	}
	for k, v := range change {
		fields[k] = v
	}
	merged, err := json.Marshal(fields)
	if err != nil {
		return nil, at, fmt.Errorf("correct: %w", err)
	}
	out, err := DecodeBody(body.Kind(), merged)
	return out, at, err
}
