package measure

import (
	"context"
	"strings"
	"time"

	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/doctor"
	"flaskside/logbook/house"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/words"
)

// mirrorPatience is how long the doctor waits for a place to answer.
const mirrorPatience = 15 * time.Second

// lookAtMirror looks at the end of the mirror that the settings name.
func lookAtMirror(ctx context.Context, f doctor.Facts, path string, h house.House) doctor.MirrorFacts {
	m := doctor.MirrorFacts{To: h.Mirror.To}
	if m.To == "" {
		return m
	}
	ctx, cancel := context.WithTimeout(ctx, mirrorPatience)
	defer cancel()
	if err := measureMirror(ctx, &m, f, path); err != nil {
		m.Err = words.Clean(err.Error())
	}
	return m
}

func measureMirror(ctx context.Context, m *doctor.MirrorFacts, f doctor.Facts, path string) error {
	p, err := places.Open(ctx, m.To)
	if err != nil {
		return err
	}
	defer func() { _ = p.Close() }() // only looked at
	about, err := p.About(ctx)
	if err != nil {
		return err
	}
	m.Kind, m.ReadOnly, m.Others, m.MayDelete, m.Replicas = about.Kind, about.ReadOnly, about.Others, about.MayDelete, about.Replicas
	m.Left = about.Left
	for _, r := range about.Risks {
		m.Risks = append(m.Risks, doctor.Risk(r))
	}
	for _, r := range about.Unknown {
		m.Unknown = append(m.Unknown, doctor.Risk(r))
	}
	if v, err := disk.Of(m.To); err == nil && !strings.Contains(m.To, "://") {
		m.Same = v.ID != "" && v.ID == f.Volume.ID
	}
	id, head, err := check.Peek(path)
	if err != nil {
		return err
	}
	gen, err := mirror.Newest(ctx, p, id)
	if err != nil {
		return err
	}
	end, err := p.Last(ctx, mirror.Stream{Book: id, Generation: max(1, gen)})
	if err != nil {
		return err
	}
	m.Ends = end.Seq
	if m.Ahead = end.Seq > head.Seq; m.Ahead {
		return nil
	}
	m.Behind = head.Seq - end.Seq
	if r, ok, err := check.PeekRecord(path, end.Seq); end.Seq > 0 && err == nil && ok {
		m.Other = r.Hash() != end.Hash
	}
	if r, ok, err := check.PeekRecord(path, end.Seq+1); err == nil && ok {
		m.LackSince = r.Written.In(f.At.Location())
	}
	return nil
}
