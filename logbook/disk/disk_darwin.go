package disk

import (
	"fmt"

	"golang.org/x/sys/unix"
)

func volumeOf(path string) (Volume, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return Volume{}, fmt.Errorf("ask for the file system of %s: %w", path, err)
	}
	v := Volume{
		Type: unix.ByteSliceToString(st.Fstypename[:]), ReadOnly: st.Flags&unix.MNT_RDONLY != 0,
		Free: int64(st.Bavail) * int64(st.Bsize), Total: int64(st.Blocks) * int64(st.Bsize),
		ID: fmt.Sprint(st.Fsid.Val),
	}
	if v.Kind = kindOf(v.Type); v.Kind == Local && st.Flags&unix.MNT_LOCAL == 0 {
		v.Kind = Network
	}
	return v, nil
}
