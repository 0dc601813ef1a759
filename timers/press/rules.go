package press

import (
	"cmp"
	"slices"
	"time"
)

// task is one job with a known time on a single machine.
type task struct {
	Time time.Duration // how long it takes
	Due  time.Duration // when it must be over, from now
}

// jackson returns the indices of tasks by earliest due date, ties in the order given. Done in that order one after
// the other, the largest lateness is the least possible: J. R. Jackson, Scheduling a production line to minimize
// maximum tardiness, Management Science Research Report 43, UCLA 1955 (from memory).
func jackson(tasks []task) []int {
	order := make([]int, len(tasks))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(tasks[a].Due, tasks[b].Due) })
	return order
}

// shortestFirst puts the indices of tasks in order of their times, ties by index.
func shortestFirst[I ~int | ~int8](tasks []task, indices []I) {
	slices.SortFunc(indices, func(a, b I) int {
		return cmp.Or(cmp.Compare(tasks[a].Time, tasks[b].Time), cmp.Compare(a, b))
	})
}

// mooreHodgson takes the indices by earliest due date and the machine's first free instant. It keeps the tasks on time
// in the front of byDue and appends the others to late, in the order in which they were dropped.
func mooreHodgson[I ~int | ~int8](tasks []task, byDue []I, start time.Duration, late []I) ([]I, []I) {
	kept, end := byDue[:0], start
	for _, i := range byDue {
		kept = append(kept, i)
		end += tasks[i].Time
		if end <= tasks[i].Due {
			continue
		}
		longest := 0
		for k, j := range kept {
			// Of equals the one with the later due date goes, so that the order is settled.
			if tasks[j].Time >= tasks[kept[longest]].Time {
				longest = k
			}
		}
		end -= tasks[kept[longest]].Time
		late = append(late, kept[longest])
		kept = append(kept[:longest], kept[longest+1:]...)
	}
	return kept, late
}
