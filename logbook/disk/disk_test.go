package disk

import (
	"os"
	"path/filepath"
	"testing"
)

// Types as the kernels name them: /proc/filesystems and the manual pages nfs(5),
// mount.cifs(8), tmpfs(5), mount.fuse3(8), fuse(4) of Linux; mount(8) of macOS.
func TestKindOf(t *testing.T) {
	for name, want := range map[string]Medium{
		"ext4": Local, "xfs": Local, "btrfs": Local, "zfs": Local, "f2fs": Local, "vfat": Local, "exfat": Local, "ntfs3": Local, "overlay": Local, "squashfs": Local, "apfs": Local, "hfs": Local, "msdos": Local, "NTFS": Local,
		"fuseblk": Local, "fuse.fuse-overlayfs": Local,
		"tmpfs": Memory, "ramfs": Memory, "rootfs": Memory,
		"nfs": Network, "nfs4": Network, "cifs": Network, "smb3": Network, "smbfs": Network, "afpfs": Network, "webdav": Network, "9p": Network, "virtiofs": Network, "ceph": Network, "afs": Network,
		"fuse.sshfs": Network, "fuse.glusterfs": Network, "fuse.rclone": Network,
		"": Unknown, "fuse": Unknown, "fuse.something": Unknown, "macfuse": Unknown, "autofs": Unknown,
	} {
		if got := kindOf(name); got != want {
			t.Errorf("%q is %q, want %q", name, got, want)
		}
	}
}

// A mount table in the form of proc_pid_mountinfo(5); the first line is the manual's own.
const table = `36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
21 1 254:0 / / rw,relatime - ext4 /dev/vda rw
22 21 0:20 / /home rw - btrfs /dev/vdb rw
23 22 0:44 / /home/kt/share rw - nfs4 server:/export rw
24 21 0:45 / /media/my\040stick rw - vfat /dev/sdb1 rw
25 21 0:46 / /mnt rw - fuse.sshfs kt@server: rw
26 21 0:47 / /mnt rw shared:7 - tmpfs none rw
27 21 0:48 / /odd\134name rw - cifs //server/x rw
broken
28 21 0:49 / /short rw -
`

func TestMountType(t *testing.T) {
	for path, want := range map[string]string{
		"/": "ext4", "/srv/bench": "ext4", "/home": "btrfs", "/home/kt": "btrfs", "/homes": "ext4", "/home/kt/share": "nfs4", "/home/kt/share/a/b": "nfs4", "/home/kt/shared": "btrfs",
		"/media/my stick/x": "vfat", "/mnt/x": "tmpfs", "/mnt2/x": "ext3", `/odd\name/x`: "cifs", "/short/x": "ext4",
	} {
		if got := mountType(table, path); got != want {
			t.Errorf("%s lies on %q, want %q", path, got, want)
		}
	}
	if got := mountType("", "/x"); got != "" {
		t.Errorf("without a table: %q", got)
	}
}

// GetDriveType, Microsoft's reference of winbase.h: 0 unknown, 1 no root, 2 removable,
// 3 fixed, 4 remote, 5 CD-ROM, 6 RAM disk.
func TestDriveKind(t *testing.T) {
	for drive, want := range []Medium{Unknown, Unknown, Local, Local, Network, Local, Memory, Unknown} {
		if got := driveKind(uint32(drive)); got != want {
			t.Errorf("drive type %d is %q, want %q", drive, got, want)
		}
	}
}

func TestOf(t *testing.T) {
	dir := t.TempDir()
	here, err := Of(dir)
	if err != nil {
		t.Fatal(err)
	}
	if here.Kind == "" || here.Type == "" || here.Free <= 0 || here.Total < here.Free || here.ReadOnly {
		t.Errorf("%s lies on %+v", dir, here)
	}
	deep, err := Of(filepath.Join(dir, "not", "there", "bench.db"))
	if err != nil || deep.ID != here.ID || deep.Type != here.Type {
		t.Errorf("a path that is not there: %+v, %v; the folder above: %+v", deep, err, here)
	}
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if v, err := Of(file); err != nil || v.ID != here.ID {
		t.Errorf("a file: %+v, %v", v, err)
	}
	if _, err := Of(filepath.Join(file, "x")); err == nil {
		t.Error("a path through a file has a file system")
	}
}
