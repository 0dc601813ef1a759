//go:build !windows

package people

const modesMean = true // who may write is told by the mode
