//go:build unix

package sysclock

import (
	"os"
	"strings"
)

// zoneName names the zone in force in the words of the tz database, or "". It is
// asked for at each look: Go's own time.Local calls itself "Local" and never learns
// that the zone was changed.
func zoneName() string {
	tz, set := os.LookupEnv("TZ")
	return zoneFrom(tz, set, "/etc/localtime")
}

// zoneFrom reads the name out of the variable TZ, tzset(3), or out of the link that
// stands for the zone, localtime(5).
func zoneFrom(tz string, set bool, link string) string {
	if set {
		tz = strings.TrimPrefix(tz, ":")
		if tz == "" {
			return "UTC"
		}
		if !strings.HasPrefix(tz, "/") {
			return tz
		}
		link = tz
	}
	target, err := os.Readlink(link)
	if err != nil {
		target = link // a plain file, named by its path where TZ gave it
	}
	_, name, _ := strings.Cut(target, "zoneinfo/")
	return name
}
