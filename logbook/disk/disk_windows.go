package disk

import (
	"fmt"

	"golang.org/x/sys/windows"
)

func volumeOf(path string) (Volume, error) {
	fail := func(err error) (Volume, error) {
		return Volume{}, fmt.Errorf("ask for the file system of %s: %w", path, err)
	}
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return fail(err)
	}
	root := make([]uint16, windows.MAX_LONG_PATH)
	if err := windows.GetVolumePathName(name, &root[0], uint32(len(root))); err != nil {
		return fail(err)
	}
	v := Volume{Kind: driveKind(windows.GetDriveType(&root[0])), ID: windows.UTF16ToString(root)}
	var free, total, all uint64
	if err := windows.GetDiskFreeSpaceEx(&root[0], &free, &total, &all); err != nil {
		return fail(err)
	}
	v.Free, v.Total = int64(free), int64(total)
	kind := make([]uint16, windows.MAX_PATH+1)
	var flags uint32
	if windows.GetVolumeInformation(&root[0], nil, 0, nil, nil, &flags, &kind[0], uint32(len(kind))) == nil {
		v.Type, v.ReadOnly = windows.UTF16ToString(kind), flags&windows.FILE_READ_ONLY_VOLUME != 0
	}
	return v, nil
}
