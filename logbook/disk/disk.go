// Package disk tells what kind of file system a folder lies on, and how much room it
// has. Locks and the memory map of a logbook need one of this computer's own.
package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
)

// Medium of file system, by what becomes of a logbook on it.
type Medium string

// Kinds.
const (
	Local   Medium = "local"   // on a disk of this computer
	Memory  Medium = "memory"  // gone when the computer restarts
	Network Medium = "network" // on, or shared with, another computer
	Unknown Medium = "unknown" // the system does not tell what is behind it
)

// Volume is the file system that a folder lies on.
type Volume struct {
	Kind     Medium `json:"kind"`
	Type     string `json:"type"` // as the system names it, "" where it does not
	ReadOnly bool   `json:"read_only"`
	Free     int64  `json:"free_bytes"`  // for this user
	Total    int64  `json:"total_bytes"` // of the whole file system
	ID       string `json:"id"`          // the same for folders on the same file system; "" where not known
}

// Of tells about the file system of a path, or of the nearest folder above it that is
// there.
func Of(path string) (Volume, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return Volume{}, err
	}
	for {
		real, err := filepath.EvalSymlinks(path)
		if err == nil {
			return volumeOf(real)
		}
		up := filepath.Dir(path)
		if !errors.Is(err, fs.ErrNotExist) || up == path {
			return Volume{}, err
		}
		path = up
	}
}

// LowFree is how much free room is called little, bytes: years of records, but other
// programs fill a disk faster than that (house default).
const LowFree = 500 << 20

// Size words bytes in decimal units, as the makers of disks count.
func Size(n int64) string {
	v, unit := float64(n), "B"
	for _, u := range []string{"kB", "MB", "GB", "TB"} {
		if v < 1000 {
			break
		}
		v, unit = v/1000, u
	}
	if v < 10 && unit != "B" {
		return fmt.Sprintf("%.1f %s", v, unit)
	}
	return fmt.Sprintf("%.0f %s", v, unit)
}

// Full tells whether an error says that a disk, or a user's share of it, has no room.
func Full(err error) bool {
	if runtime.GOOS == "windows" { // ERROR_HANDLE_DISK_FULL and ERROR_DISK_FULL, winerror.h
		return errors.Is(err, syscall.Errno(39)) || errors.Is(err, syscall.Errno(112))
	}
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// Names of file systems as Linux and macOS give them (Linux: the type in
// /proc/filesystems, after "fuse." that of the program behind it; macOS: statfs(2)).
var (
	networkTypes = []string{
		"nfs", "nfs3", "nfs4", "cifs", "smb2", "smb3", "smbfs", "smbnetfs", "afs", "afpfs", "ncpfs", "coda", "9p", "virtiofs", "vboxsf", "vmhgfs",
		"vmhgfs-fuse", "prl_fs", "ceph", "cephfs", "ceph-fuse", "lustre", "glusterfs", "beegfs", "pvfs2", "orangefs", "gfs", "gfs2", "ocfs2",
		"sshfs", "davfs", "davfs2", "webdav", "ftp", "curlftpfs", "gvfsd-fuse", "rclone", "s3fs", "gcsfuse", "goofys", "juicefs",
	}
	memoryTypes = []string{"tmpfs", "ramfs", "rootfs"}
	// Programs that hold files for this computer alone, on one of its disks.
	localPrograms = []string{"fuseblk", "ntfs-3g", "exfat", "fuse-overlayfs", "lxcfs"}
)

// kindOf tells the kind of a type of file system by its name.
func kindOf(name string) Medium {
	name = strings.ToLower(name)
	_, program, behind := strings.Cut(name, "fuse.")
	if !behind {
		program = name
	}
	switch {
	case name == "":
		return Unknown
	case slices.Contains(networkTypes, program):
		return Network
	case slices.Contains(memoryTypes, program):
		return Memory
	case slices.Contains(localPrograms, program):
		return Local
	case behind, name == "fuse", name == "macfuse", name == "osxfuse", name == "autofs":
		return Unknown
	}
	return Local
}

// worded gives a path as a mount table writes it back as it is: blanks and backslashes
// stand there as \040 and so on, proc_pid_mountinfo(5).
func worded(s string) string {
	return strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`).Replace(s)
}

// mountType finds the type of the file system that a path lies on in a mount table of
// proc_pid_mountinfo(5); "" where it is not there.
func mountType(table, path string) string {
	best, found := -1, ""
	for line := range strings.Lines(table) {
		mount, fs, ok := strings.Cut(line, " - ")
		fields, of := strings.Fields(mount), strings.Fields(fs)
		if !ok || len(fields) < 5 || len(of) < 1 {
			continue
		}
		at := worded(fields[4])
		// A later mount on the same folder hides the one before.
		if len(at) >= best && (at == "/" || path == at || strings.HasPrefix(path, at+"/")) {
			best, found = len(at), of[0]
		}
	}
	return found
}

// Kinds of drive, winbase.h, GetDriveType.
const (
	driveRemovable = 2
	driveFixed     = 3
	driveRemote    = 4
	driveCDROM     = 5
	driveRAM       = 6
)

// driveKind tells the kind of a drive of Windows.
func driveKind(drive uint32) Medium {
	switch drive {
	case driveRemovable, driveFixed, driveCDROM:
		return Local
	case driveRemote:
		return Network
	case driveRAM:
		return Memory
	}
	return Unknown
}
