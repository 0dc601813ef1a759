package disk

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// The same is asked of stat(1) of the GNU coreutils.
func TestAgainstStat(t *testing.T) {
	for _, path := range []string{"/", "/proc", "/dev/shm", t.TempDir()} {
		if _, err := os.Stat(path); err != nil {
			continue
		}
		out, err := exec.Command("stat", "--file-system", "--format=%T", path).Output()
		if err != nil {
			t.Skipf("no stat here: %v", err)
		}
		want := strings.TrimSuffix(strings.ReplaceAll(string(bytes.TrimSpace(out)), "ext2/ext3", "ext4"), "fs")
		v, err := Of(path)
		if err != nil || strings.TrimSuffix(v.Type, "fs") != want && !strings.HasPrefix(v.Type, want) {
			t.Errorf("%s: %+v, %v; stat says %s", path, v, err, out)
		}
	}
}
