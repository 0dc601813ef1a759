//go:build race

package cure

const raceDetector = true
