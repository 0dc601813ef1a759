package check

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"slices"
	"sort"
)

// The store's file format, for reading a file without the store: with plain reads,
// never through the memory map, so that no damage can stop the process or keep it
// for ever (bbolt 1.5, internal/common: page.go, meta.go, bucket.go; little endian on
// every machine this is built for).
//
// A page begins with a header of 16 bytes: number (8), kind (2), entries (2), further
// pages that belong to it (4). Pages 0 and 1 are meta pages; the valid one of the
// later transaction counts. A branch lists keys and child pages, a leaf keys and
// values; an entry is a header of 16 bytes with the place of the key, counted from
// the header. The value of a bucket is its root page and a counter, or, where the root
// is 0, these and then the only page itself.
const (
	pageHeader  = 16
	entryHeader = 16
	bucketSize  = 16
	metaSize    = 64
	metaMagic   = 0xED0CDAED

	branchPage = 1
	leafPage   = 2
	metaPage   = 4
	freePage   = 16

	bucketEntry = 1 // flag of a leaf's entry that is a bucket
)

// Bounds of what is believed of a page.
const (
	maxPageBytes = 16 << 20 // of a page with those that belong to it
	maxDepth     = 32       // of a tree; 5,000,000 records make 4
)

// storeMeta is a meta page that passed its checksum.
type storeMeta struct {
	at       int64 // where in the file
	pageSize int64
	root     uint64 // page of the root bucket
	free     uint64 // page of the list of free pages
	high     uint64 // pages in use, the free ones among them
	txid     uint64
	headerOK bool
}

// metasOf finds the valid meta pages; seen tells whether there was any that at least
// begins like one.
func metasOf(f io.ReaderAt) (metas []storeMeta, seen bool) {
	le := binary.LittleEndian
	for i, at := range []int64{0, 1024, 2048, 4096, 8192, 16384, 32768, 65536} {
		b := make([]byte, pageHeader+metaSize)
		if n, _ := f.ReadAt(b, at); n < len(b) || le.Uint32(b[pageHeader:]) != metaMagic {
			continue
		}
		seen = true
		m := b[pageHeader:]
		h := fnv.New64a()
		h.Write(m[:56])
		size := int64(le.Uint32(m[8:]))
		if h.Sum64() != le.Uint64(m[56:]) || le.Uint32(m[4:]) != 2 || at != 0 && size != at {
			continue
		}
		no := uint64(min(i, 1))
		metas = append(metas, storeMeta{
			at: at, pageSize: size, root: le.Uint64(m[16:]), free: le.Uint64(m[32:]), high: le.Uint64(m[40:]), txid: le.Uint64(m[48:]),
			headerOK: le.Uint64(b) == no && le.Uint16(b[8:]) == metaPage,
		})
	}
	return metas, seen
}

// latest gives the meta page that counts.
func latest(metas []storeMeta) storeMeta {
	return slices.MaxFunc(metas, func(a, b storeMeta) int {
		if a.txid < b.txid {
			return -1
		}
		return 1
	})
}

// sane says whether the sizes of a meta page can be.
func (m storeMeta) sane() bool {
	return m.pageSize >= 1024 && m.pageSize <= 65536 && m.high >= 2 && m.high <= 1<<40
}

// pageFile reads the trees of a store's file.
type pageFile struct {
	f    io.ReaderAt
	size int64
	meta storeMeta
	held []byte // the file, where it is small enough to be held in memory
	once []byte // what is read is put here, where it need not outlast the next read
}

// read gives n bytes of the file from a place on, fewer at its end. They are the
// reader's to keep, where once is not set, and not to change.
func (p *pageFile) read(at, n int64) []byte {
	if p.held != nil {
		from := min(at, int64(len(p.held)))
		to := min(at+n, int64(len(p.held)))
		return p.held[from:to:to]
	}
	b := p.once
	if int64(len(b)) < n {
		b = make([]byte, n)
	}
	got, _ := p.f.ReadAt(b[:n], at)
	return b[:got]
}

// tree is one bucket: a root page, or the page that stands in the bucket's own entry.
type tree struct {
	root   uint64
	inline []byte
}

// entry of a leaf. The bytes are the reader's to keep.
type entry struct {
	key, value []byte
	bucket     bool
}

// walker goes through the pages of trees in order of their keys.
type walker struct {
	*pageFile
	seen  pageSet
	fault func(page uint64, what string) // told of every page or entry that cannot be
	// depths, where set, read the pages of their depth in a tree, each into the same bytes:
	// for one who only looks and keeps no entry.
	depths []*pageFile
}

// keepNothing has pages read one by one, without room of their own: in a tree that grew
// slowly a page stands far from the next.
func (w *walker) keepNothing() {
	file := w.f
	if r, ok := file.(*readAhead); ok {
		file = r.f
	}
	w.depths = make([]*pageFile, maxDepth+1)
	for i := range w.depths {
		own := *w.pageFile
		own.f, own.once = file, make([]byte, w.meta.pageSize)
		w.depths[i] = &own
	}
}

// loadAt reads a page that stands at a depth in its tree.
func (w *walker) loadAt(depth int, id uint64) ([]byte, error) {
	if w.depths == nil {
		return w.load(id)
	}
	return w.depths[depth].load(id)
}

// ahead is how much a walker reads at once: pages that follow on each other in a tree
// mostly stand near each other in the file.
const ahead = 64 << 10

func (p *pageFile) walker(fault func(page uint64, what string)) *walker {
	own := *p
	if p.held == nil {
		own.f = &readAhead{f: p.f}
	}
	return &walker{pageFile: &own, seen: make(pageSet, min(p.meta.high, uint64(p.size/p.meta.pageSize)+1)/64+1), fault: fault}
}

// readAhead reads a file in larger pieces. One goroutine uses it at a time.
type readAhead struct {
	f     io.ReaderAt
	piece []byte
	at    int64
}

// ReadAt reads as that of a file does.
func (r *readAhead) ReadAt(b []byte, at int64) (int, error) {
	if len(b) > ahead {
		return r.f.ReadAt(b, at)
	}
	if at < r.at || at+int64(len(b)) > r.at+int64(len(r.piece)) {
		piece := r.piece[:cap(r.piece)]
		if len(piece) == 0 {
			piece = make([]byte, ahead)
		}
		n, err := r.f.ReadAt(piece, at)
		if r.piece, r.at = piece[:n], at; n < len(b) && err != nil {
			return copy(b, r.piece), err
		}
	}
	return copy(b, r.piece[at-r.at:]), nil
}

// pageSet is a set of pages.
type pageSet []uint64

// add tells whether the page is new to the set; one beyond its end never is.
func (s pageSet) add(id uint64) bool {
	if id/64 >= uint64(len(s)) || s[id/64]&(1<<(id%64)) != 0 {
		return false
	}
	s[id/64] |= 1 << (id % 64)
	return true
}

// walk calls each with the entries that can be read, in order, until it says stop.
// What cannot be read is told and passed over.
func (w *walker) walk(t tree, each func(entry) (more bool)) {
	if t.root == 0 {
		w.leaf(0, t.inline, nil, nil, each)
		return
	}
	w.page(t.root, nil, nil, 0, each)
}

// page reads a page whose keys must lie from low until before high; nil for no bound.
func (w *walker) page(id uint64, low, high []byte, depth int, each func(entry) bool) (more bool) {
	if depth > maxDepth {
		w.fault(id, "lies too deep")
		return true
	}
	b, err := w.loadAt(depth, id)
	if err != nil {
		w.fault(id, err.Error())
		return true
	}
	for i := range uint64(len(b)) / uint64(w.meta.pageSize) {
		if !w.seen.add(id + i) {
			w.fault(id, "is reached twice")
			return true
		}
	}
	if binary.LittleEndian.Uint16(b[8:]) == leafPage {
		return w.leaf(id, b, low, high, each)
	}
	kids := w.kids(id, b)
	for i, k := range kids {
		from, until := k.key, high
		if i+1 < len(kids) {
			until = kids[i+1].key
		}
		if !inOrder(low, from, until) {
			w.fault(id, fmt.Sprintf("has its key %d of %d out of order", i+1, len(kids)))
			from, until = nil, nil
		} else if i == 0 && low != nil {
			from = low
		}
		if !w.page(k.page, from, until, depth+1, each) {
			return false
		}
	}
	return true
}

// inOrder tells whether low <= key < high, where there are such bounds.
func inOrder(low, key, high []byte) bool {
	return (low == nil || bytes.Compare(low, key) <= 0) && (high == nil || bytes.Compare(key, high) < 0)
}

// load reads a branch or leaf with the pages that belong to it.
func (p *pageFile) load(id uint64) ([]byte, error) {
	le := binary.LittleEndian
	if id < 2 || id >= p.meta.high {
		return nil, errors.New("is none of this file")
	}
	b := p.read(int64(id)*p.meta.pageSize, p.meta.pageSize)
	if int64(len(b)) < p.meta.pageSize {
		return nil, errors.New("is cut off")
	}
	kind, over := le.Uint16(b[8:]), uint64(le.Uint32(b[12:]))
	switch no := le.Uint64(b); {
	case no != id && len(bytes.Trim(b, "\x00")) == 0:
		return nil, errors.New("is all zeros")
	case no != id:
		return nil, fmt.Errorf("says that it is page %d", no)
	case kind != branchPage && kind != leafPage:
		return nil, fmt.Errorf("is of the kind %#x, neither branch nor leaf", kind)
	case id+over >= p.meta.high || over > maxPageBytes/uint64(p.meta.pageSize):
		return nil, fmt.Errorf("says that it is %d pages long", over+1)
	}
	if over == 0 {
		return b, nil
	}
	all := int64(over+1) * p.meta.pageSize
	if b = p.read(int64(id)*p.meta.pageSize, all); int64(len(b)) < all {
		return nil, errors.New("is cut off")
	}
	return b, nil
}

// freeList says what is wrong with the list of free pages: the store believes it
// without a look, and would run out of memory over a wrong length.
func (p *pageFile) freeList() error {
	le := binary.LittleEndian
	bad := func(what string) error { return fmt.Errorf("page %d, the list of free pages, %s", p.meta.free, what) }
	if p.meta.free < 2 || p.meta.free >= p.meta.high {
		return bad("is none of this file")
	}
	head := p.read(int64(p.meta.free)*p.meta.pageSize, pageHeader+8)
	if len(head) < pageHeader+8 {
		return bad("is cut off")
	}
	over, n, skip := uint64(le.Uint32(head[12:])), uint64(le.Uint16(head[10:])), 0
	if n == 0xFFFF { // too many to count there: the number stands first in the list
		n, skip = le.Uint64(head[pageHeader:]), 8
	}
	room := ((over+1)*uint64(p.meta.pageSize) - uint64(pageHeader+skip)) / 8
	switch {
	case le.Uint64(head) != p.meta.free || le.Uint16(head[8:]) != freePage:
		return bad("is a page of another kind")
	case p.meta.free+over >= p.meta.high || n > room || n > p.meta.high:
		return bad(fmt.Sprintf("has no room for its %d entries", n))
	}
	ids := p.read(int64(p.meta.free)*p.meta.pageSize+int64(pageHeader+skip), int64(n)*8)
	if uint64(len(ids)) < n*8 {
		return bad("is cut off")
	}
	for last := uint64(1); len(ids) > 0; ids = ids[8:] {
		id := le.Uint64(ids)
		if id <= last || id >= p.meta.high {
			return bad(fmt.Sprintf("names page %d out of order", id))
		}
		last = id
	}
	return nil
}

// kid is a child of a branch.
type kid struct {
	key  []byte
	page uint64
}

// kids reads the entries of a branch.
func (w *walker) kids(id uint64, b []byte) []kid {
	out := make([]kid, 0, binary.LittleEndian.Uint16(b[10:]))
	w.eachKid(id, b, func(k kid) { out = append(out, k) })
	return out
}

// eachKid calls f with the entries of a branch that can be read.
func (w *walker) eachKid(id uint64, b []byte, f func(kid)) {
	le := binary.LittleEndian
	n := int(le.Uint16(b[10:]))
	if n == 0 {
		w.fault(id, "is empty")
	}
	for i := range n {
		h := pageHeader + i*entryHeader
		if h+entryHeader > len(b) {
			w.fault(id, fmt.Sprintf("has no room for its %d entries", n))
			break
		}
		key, ok := slice(b, n, h, uint64(le.Uint32(b[h:])), uint64(le.Uint32(b[h+4:])))
		if !ok || len(key) == 0 {
			w.fault(id, fmt.Sprintf("has its entry %d of %d outside of itself", i+1, n))
			continue
		}
		f(kid{key, le.Uint64(b[h+8:])})
	}
}

// slice gives the bytes of an entry of n, from a place counted from the header at h.
func slice(b []byte, n, h int, pos, size uint64) ([]byte, bool) {
	from := uint64(h) + pos
	if from < uint64(pageHeader+n*entryHeader) || from+size > uint64(len(b)) {
		return nil, false
	}
	return b[from : from+size : from+size], true
}

// leaf reads the entries of a leaf.
func (w *walker) leaf(id uint64, b, low, high []byte, each func(entry) bool) (more bool) {
	if len(b) < pageHeader {
		w.fault(id, "is cut off")
		return true
	}
	n := int(binary.LittleEndian.Uint16(b[10:]))
	if n == 0 && low != nil {
		w.fault(id, "is empty")
	}
	var prev []byte
	seen, odd := 0, false
	defer func() {
		if odd || prev != nil && !inOrder(nil, prev, high) {
			w.fault(id, fmt.Sprintf("has %d of its %d entries out of order", astray(b, n, seen, low, high), n))
		}
	}()
	for i := range n {
		if pageHeader+(i+1)*entryHeader > len(b) {
			w.fault(id, fmt.Sprintf("has no room for its %d entries", n))
			return true
		}
		e, ok := leafEntry(b, n, i)
		if !ok {
			w.fault(id, fmt.Sprintf("has its entry %d of %d outside of itself", i+1, n))
			continue
		}
		// Where each key is beyond the one before it, the bounds need to be looked at but at the ends.
		odd = odd || (prev == nil && !inOrder(low, e.key, nil)) || prev != nil && bytes.Compare(prev, e.key) >= 0
		prev, seen = e.key, i+1
		if !each(e) {
			return false
		}
	}
	return true
}

// astray counts the entries out of order among the first few of the n of a leaf.
func astray(b []byte, n, first int, low, high []byte) (count int) {
	var prev []byte
	for i := range first {
		e, ok := leafEntry(b, n, i)
		switch {
		case !ok:
		case !inOrder(low, e.key, high) || prev != nil && bytes.Compare(prev, e.key) >= 0:
			count++
		default:
			prev = e.key
		}
	}
	return count
}

// leafEntry gives entry i of the n of a leaf.
func leafEntry(b []byte, n, i int) (e entry, ok bool) {
	le := binary.LittleEndian
	h := pageHeader + i*entryHeader
	pos, ksize, vsize := uint64(le.Uint32(b[h+4:])), uint64(le.Uint32(b[h+8:])), uint64(le.Uint32(b[h+12:]))
	both, ok := slice(b, n, h, pos, ksize+vsize)
	if !ok || ksize == 0 {
		return e, false
	}
	return entry{both[:ksize:ksize], both[ksize:], le.Uint32(b[h:])&bucketEntry != 0}, true
}

// find looks a key up.
func (p *pageFile) find(t tree, key []byte) ([]byte, bool) {
	le := binary.LittleEndian
	b, id := t.inline, t.root
	for depth := 0; id != 0; depth++ {
		var err error
		if b, err = p.load(id); err != nil || depth > maxDepth {
			return nil, false
		}
		if le.Uint16(b[8:]) == leafPage {
			break
		}
		n := int(le.Uint16(b[10:]))
		if pageHeader+n*entryHeader > len(b) {
			return nil, false
		}
		i := sort.Search(n, func(i int) bool { // the first child beyond the key
			h := pageHeader + i*entryHeader
			k, ok := slice(b, n, h, uint64(le.Uint32(b[h:])), uint64(le.Uint32(b[h+4:])))
			return !ok || bytes.Compare(k, key) > 0
		})
		if i == 0 {
			return nil, false
		}
		id = le.Uint64(b[pageHeader+(i-1)*entryHeader+8:])
		if id == 0 {
			return nil, false
		}
	}
	if len(b) < pageHeader {
		return nil, false
	}
	n := int(le.Uint16(b[10:]))
	if pageHeader+n*entryHeader > len(b) {
		return nil, false
	}
	i := sort.Search(n, func(i int) bool {
		e, ok := leafEntry(b, n, i)
		return !ok || bytes.Compare(e.key, key) >= 0
	})
	if i == n {
		return nil, false
	}
	e, ok := leafEntry(b, n, i)
	return e.value, ok && bytes.Equal(e.key, key)
}

// buckets reads the root bucket.
func (w *walker) buckets() map[string]tree {
	out := map[string]tree{}
	w.walk(tree{root: w.meta.root}, func(e entry) bool {
		if !e.bucket || len(e.value) < bucketSize {
			w.fault(w.meta.root, fmt.Sprintf("has an entry %q that is not a bucket", e.key))
			return true
		}
		t := tree{root: binary.LittleEndian.Uint64(e.value)}
		if t.root == 0 {
			t.inline = e.value[bucketSize:]
			if len(t.inline) < pageHeader || binary.LittleEndian.Uint16(t.inline[8:]) != leafPage {
				w.fault(w.meta.root, fmt.Sprintf("has a bucket %q without a page", e.key))
				return true
			}
		}
		out[string(e.key)] = t
		return true
	})
	return out
}

func pageText(page uint64, what string) string {
	if page == 0 {
		return "a page within the first branch " + what
	}
	return fmt.Sprintf("page %d %s", page, what)
}

// openPages finds the meta page that counts; odd is told what is wrong with the
// others.
func openPages(f io.ReaderAt, size int64, odd func(format string, a ...any)) (*pageFile, error) {
	if size == 0 {
		return nil, errors.New("the file is empty")
	}
	metas, seen := metasOf(f)
	switch {
	case len(metas) == 0 && !seen:
		return nil, errors.New("it is a file of another kind, or its beginning is lost")
	case len(metas) == 0:
		return nil, errors.New("both of its first pages are spoilt")
	}
	p := &pageFile{f: f, size: size, meta: latest(metas)}
	if !p.meta.sane() {
		return nil, errors.New("its first page makes no sense")
	}
	if len(metas) == 1 {
		odd("one of its two first pages is spoilt: what was written last may be lost (a power cut while writing leaves this, and the next record mends it)")
	}
	for _, m := range metas {
		if !m.headerOK {
			odd("the beginning of page %d is spoilt", min(m.at, 1))
		}
	}
	if want := int64(p.meta.high) * p.meta.pageSize; want > size {
		odd("it has %d bytes and should have at least %d: it was cut short", size, want)
	}
	return p, nil
}

func (t tree) empty() bool { return t.root == 0 && t.inline == nil }
