//go:build !linux && !darwin && !windows

package disk

import "errors"

func volumeOf(string) (Volume, error) { return Volume{}, errors.ErrUnsupported }
