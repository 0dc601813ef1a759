package flash

import (
	"fmt"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"
)

// book is many flasks by size, those with the same trials counted together.
type book map[Size][]alike

type alike struct {
	segs  [][]obs
	count float64
}

func newBook(hs []History) (book, error) {
	k := book{}
	at := map[string]int{}
	for i, h := range hs {
		if _, err := ParseSize(string(h.Size)); err != nil {
			return nil, fmt.Errorf("flask %d: %w", i+1, err)
		}
		if err := CheckTrials(h.Trials); err != nil {
			return nil, fmt.Errorf("flask %d: %w", i+1, err)
		}
		if len(h.Trials) == 0 {
			continue
		}
		key := h.key()
		n, known := at[key]
		if !known {
			n = len(k[h.Size])
			at[key] = n
			k[h.Size] = append(k[h.Size], alike{segs: h.segments()})
		}
		k[h.Size][n].count++
	}
	return k, nil
}

// key is the same for flasks that teach the same.
func (h History) key() string {
	var b strings.Builder
	b.WriteString(string(h.Size))
	for _, t := range h.Trials {
		b.WriteByte(',')
		b.WriteString(t.String())
	}
	if h.AddedSince {
		b.WriteString(",+")
	}
	return b.String()
}

// evidence of the flasks of one size; they are shared out among the processors and added
// up in their order.
func (k book) evidence(s TrendSettings, z Size) float64 {
	p := *s.Prior.at(z)
	logs := make([]float64, len(k[z]))
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(logs)) {
		all.Go(func() {
			shared := rules{}
			for i := int(next.Add(1)) - 1; i < len(logs); i = int(next.Add(1)) - 1 {
				logs[i] = k[z][i].count * newGrid(s, p, k[z][i].segs, forEvidence, shared).logEvidence
			}
		})
	}
	all.Wait()
	return floats.Sum(logs)
}
