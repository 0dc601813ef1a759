package press

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func tasksOf(times, dues []int) []task {
	tasks := make([]task, len(times))
	for i := range times {
		tasks[i] = task{time.Duration(times[i]) * time.Minute, time.Duration(dues[i]) * time.Minute}
	}
	return tasks
}

// sequence does the tasks one after the other and gives how many are late and the largest lateness.
func sequence(tasks []task, order []int) (late int, worst time.Duration) {
	var now time.Duration
	worst = -1 << 62
	for _, i := range order {
		now += tasks[i].Time
		worst = max(worst, now-tasks[i].Due)
		if now > tasks[i].Due {
			late++
		}
	}
	return late, worst
}

func everyOrder(n int, visit func([]int)) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var swap func(int)
	swap = func(k int) {
		if k == n {
			visit(order)
			return
		}
		for i := k; i < n; i++ {
			order[k], order[i] = order[i], order[k]
			swap(k + 1)
			order[k], order[i] = order[i], order[k]
		}
	}
	swap(0)
}

// M. L. Pinedo, Scheduling: Theory, Algorithms, and Systems, the worked example for 1||sum of U_j (from memory): five
// jobs, two of them late at best, jobs 3, 4, 5 on time.
func TestMooreHodgsonWorkedExample(t *testing.T) {
	tasks := tasksOf([]int{7, 8, 4, 6, 6}, []int{9, 17, 18, 19, 21})
	onTime, late := MooreHodgson(tasks)
	if !slices.Equal(onTime, []int{2, 3, 4}) || !slices.Equal(late, []int{0, 1}) {
		t.Errorf("on time %v, late %v; want [2 3 4] and [0 1]", onTime, late)
	}
}

func genTasks(t *rapid.T) []task {
	n := rapid.SampledFrom([]int{0, 1, 2, 3, 4, 5, 6, 7}).Draw(t, "n") // evenly; a range leans to few
	var times, dues []int
	for range n {
		times = append(times, rapid.IntRange(0, 12).Draw(t, "time"))
		dues = append(dues, rapid.IntRange(0, 40).Draw(t, "due"))
	}
	return tasksOf(times, dues)
}

// Against every order.
func TestMooreHodgsonLosesFewest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tasks := genTasks(t)
		given := slices.Clone(tasks)
		onTime, late := MooreHodgson(tasks)
		order := slices.Concat(onTime, late)
		if n, _ := sequence(tasks, onTime); n != 0 {
			t.Fatalf("%d of those on time are late: %v", n, onTime)
		}
		if !slices.Equal(slices.Sorted(slices.Values(order)), slices.Sorted(slices.Values(jackson(tasks)))) {
			t.Fatalf("%v is not every task once", order)
		}
		fewest := len(tasks)
		everyOrder(len(tasks), func(o []int) {
			n, _ := sequence(tasks, o)
			fewest = min(fewest, n)
		})
		if len(late) != fewest {
			t.Fatalf("%d late, %d by the best order", len(late), fewest)
		}
		if !slices.Equal(tasks, given) {
			t.Fatal("the tasks were changed")
		}
	})
}

// jackson's rule: no order has a smaller largest lateness.
func TestJacksonLeastLateness(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tasks := genTasks(t)
		_, got := sequence(tasks, jackson(tasks))
		everyOrder(len(tasks), func(o []int) {
			if _, worst := sequence(tasks, o); worst < got {
				t.Fatalf("largest lateness %v, but %v in order %v", got, worst, o)
			}
		})
	})
}

func TestTiesKeepTheOrderGiven(t *testing.T) {
	same := tasksOf([]int{5, 5, 5, 5}, []int{12, 12, 12, 12})
	if got := jackson(same); !slices.Equal(got, []int{0, 1, 2, 3}) {
		t.Errorf("Jackson on equals gives %v", got)
	}
	onTime, late := MooreHodgson(same)
	if !slices.Equal(onTime, []int{0, 1}) || !slices.Equal(late, []int{2, 3}) {
		t.Errorf("Moore-Hodgson on equals keeps %v, drops %v; want the first two kept", onTime, late)
	}
}

// The keys by which the rules choose stand in the order of the ranks, ties and all; also where a final closure that
// takes less time than raising the press makes a time below 0.
func TestKeysStandInTheOrderOfRanks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := houseDurations()
		d.Final = genSeconds(t, 0, 120, "final")
		p, w := newPlan(genJobs(t), d, genBench(t))
		live := p.inPlay(w)
		p.mooreRank(w)
		p.mooreKeys(w, live)
		for i := range w.cells {
			for j := range i {
				if live&(1<<i) == 0 || live&(1<<j) == 0 {
					continue
				}
				ranks, keys := cmp.Compare(p.rank[i], p.rank[j]), cmp.Compare(p.keys[i], p.keys[j])
				if ranks != keys && keys != 0 || keys == 0 && p.rank[j] > p.rank[i] { // of equal keys the first counts
					t.Fatalf("flasks %d and %d: ranks %d, %d, keys %v, %v", j, i, p.rank[j], p.rank[i], p.keys[j], p.keys[i])
				}
			}
		}
	})
}

// MooreHodgson returns the indices of the tasks that can all be over by their due dates when done one after the other
// in the order given back, as many as there can be, and those that must be late, shortest first, ties in the order
// given. J. M. Moore, An n job, one machine sequencing algorithm for minimizing the number of late jobs, Management
// Science 15 (1968) 102-109, in the simpler form Moore credits to T. J. Hodgson (from memory).
func MooreHodgson(tasks []task) (onTime, late []int) {
	onTime, late = mooreHodgson(tasks, jackson(tasks), 0, nil)
	shortestFirst(tasks, late)
	return onTime, late
}
