package cure

import "time"

// Common are programmes in general use, with the ramps assumed where their published residuals
// were fitted: check cases, not what a house starts with (see package house).
func Common() []Programme {
	const ramp20 = 20 * time.Minute // as assumed where the published residual of this cycle was used for fitting
	return []Programme{
		// research standard; also used overnight
		{"long", []Stage{{TempC: 74, Hold: 9 * time.Hour}}},
		// teaching texts, "long cycle"
		{"long with boil", []Stage{{TempC: 74, Hold: 8 * time.Hour}, {100, time.Hour, defaultRamp}}},
		// teaching texts, "short cycle"
		{"short with boil", []Stage{{TempC: 74, Hold: 2 * time.Hour}, {100, time.Hour, defaultRamp}}},
		// published with a residual of 1.95 ± 0.24 %
		{"two stages", []Stage{{TempC: 73, Hold: 90 * time.Minute}, {100, 30 * time.Minute, ramp20}}},
	}
}
