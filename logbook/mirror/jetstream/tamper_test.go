package jetstream

import (
	"context"
	"testing"

	js "github.com/nats-io/nats.go/jetstream"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
)

func TestTamper(t *testing.T) {
	ctx, to := context.Background(), at(start(t, options(t, "one")))
	first, _, err := Begin(ctx, to+"/FIRST", Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = first.Close() }()
	// One that somebody made who may take things out of it.
	if _, err := first.api.CreateStream(ctx, js.StreamConfig{Name: "LAB", Subjects: []string{"LAB.>"}, Storage: js.MemoryStorage}); err != nil {
		t.Fatal(err)
	}
	j, err := Open(ctx, to+"/LAB", Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = j.Close() }()
	mirrortest.Tamper(t, mirrortest.Tampered{Remote: j, Put: func(s mirror.Stream, parts []mirrortest.Stored) {
		if err := j.stream.Purge(ctx, js.WithPurgeSubject(j.subject(s))); err != nil {
			t.Fatal(err)
		}
		for _, p := range parts {
			if _, err := j.api.Publish(ctx, j.subject(s), p.Raw); err != nil {
				t.Fatal(err)
			}
		}
	}})
}
