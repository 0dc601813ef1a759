package disk

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// magics names the file systems whose number statfs(2) gives, for where the mount table
// cannot be read (linux/magic.h and the headers of the file systems).
var magics = map[int64]string{
	unix.NFS_SUPER_MAGIC: "nfs", unix.SMB_SUPER_MAGIC: "smbfs", unix.CIFS_SUPER_MAGIC: "cifs", unix.SMB2_SUPER_MAGIC: "smb2", unix.V9FS_MAGIC: "9p",
	unix.AFS_SUPER_MAGIC: "afs", unix.AFS_FS_MAGIC: "afs", unix.CODA_SUPER_MAGIC: "coda", unix.CEPH_SUPER_MAGIC: "ceph", unix.OCFS2_SUPER_MAGIC: "ocfs2",
	unix.NCP_SUPER_MAGIC: "ncpfs", unix.FUSE_SUPER_MAGIC: "fuse", unix.TMPFS_MAGIC: "tmpfs", unix.RAMFS_MAGIC: "ramfs",
	unix.EXT4_SUPER_MAGIC: "ext4", unix.XFS_SUPER_MAGIC: "xfs", unix.BTRFS_SUPER_MAGIC: "btrfs", unix.OVERLAYFS_SUPER_MAGIC: "overlay", unix.F2FS_SUPER_MAGIC: "f2fs",
}

func volumeOf(path string) (Volume, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return Volume{}, fmt.Errorf("ask for the file system of %s: %w", path, err)
	}
	v := Volume{
		Type: magics[int64(st.Type)], ReadOnly: st.Flags&unix.ST_RDONLY != 0, //nolint:unconvert // of another width on other processors
		Free: int64(st.Bavail) * int64(st.Bsize), Total: int64(st.Blocks) * int64(st.Bsize), //nolint:unconvert // of another width on other processors
	}
	// The table also names the program behind a FUSE file system.
	if table, err := os.ReadFile("/proc/self/mountinfo"); err == nil {
		if name := mountType(string(table), path); name != "" {
			v.Type = name
		}
	}
	if v.Kind = kindOf(v.Type); v.Type == "" {
		v.Kind, v.Type = Local, fmt.Sprintf("%#x", st.Type)
	}
	var fi unix.Stat_t
	if err := unix.Stat(path, &fi); err == nil {
		v.ID = fmt.Sprint(fi.Dev)
	}
	return v, nil
}
