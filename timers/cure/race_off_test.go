//go:build !race

package cure

const raceDetector = false
