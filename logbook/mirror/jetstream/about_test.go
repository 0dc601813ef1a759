package jetstream

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	js "github.com/nats-io/nats.go/jetstream"

	"flaskside/logbook/mirror"
)

// configured is a server as its configuration makes it.
func configured(t *testing.T, sync, permissions, imports string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "server.conf")
	text := fmt.Sprintf(`server_name: one, host: 127.0.0.1, port: -1
		jetstream { store_dir: %q, sync_interval: %s }
		accounts {
			SYS { users: [ { user: root, password: r } ], exports: [ { service: "$SYS.REQ.SERVER.PING.JSZ", response_type: stream } ] }
			LAB { jetstream: enabled, users: [ { user: lead, password: l }, { user: bench, password: b, permissions: { %s } } ], imports: [ %s ] }
		}
		system_account: SYS`, scratch(t), sync, permissions, imports)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	o, err := server.ProcessConfigFile(file)
	if err != nil {
		t.Fatal(err)
	}
	o.NoLog, o.NoSigs = true, true
	return at(start(t, o))
}

func has(all []mirror.Risk, words ...string) bool {
	for _, r := range all {
		n := 0
		for _, w := range words {
			if strings.Contains(r.What+": "+r.Do, w) {
				n++
			}
		}
		if n == len(words) {
			return true
		}
	}
	return false
}

// TestAbout: what is said of servers is what they say; what they do not say is never called
// well.
func TestAbout(t *testing.T) {
	const (
		asks    = `{ service: { account: SYS, subject: "$SYS.REQ.SERVER.PING.JSZ" } }`
		adds    = `publish: { deny: [ "$JS.API.STREAM.DELETE.>", "$JS.API.STREAM.UPDATE.>", "$JS.API.STREAM.PURGE.>", "$JS.API.STREAM.MSG.DELETE.>" ] }`
		silence = `publish: { allow: [ "FLASKSIDE.>", "$JS.API.STREAM.INFO.FLASKSIDE", "$JS.API.STREAM.MSG.GET.FLASKSIDE", "$JS.API.CONSUMER.>" ] }`
	)
	cannot := []string{"cannot be seen from here", "sync_interval: always stands"}
	for _, c := range []struct {
		name, sync, permissions, imports string
		risks, unknown                   [][]string
		noRisks                          []string
	}{
		{"may all, and asks nobody", "always", "", "", [][]string{{"delete the stream", "change how long", "deny it $JS.API.STREAM.DELETE.FLASKSIDE and"}}, [][]string{cannot}, nil},
		{"may add, and asks nobody", "always", adds, "", nil, [][]string{cannot}, []string{"this account may"}},
		{"may add, servers sync", "always", adds, asks, nil, nil, []string{"this account may", "power cut"}},
		{"may add, servers sync late", "2m", adds, asks, [][]string{{"one does not sync", "set sync_interval: always"}}, nil, []string{"this account may"}},
		{"may only what it needs", "always", silence, "", nil, [][]string{cannot, {"take away there cannot be seen", "$JS.API.STREAM.DELETE.FLASKSIDE"}}, []string{"this account may"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			ctx, to := context.Background(), configured(t, c.sync, c.permissions, c.imports)
			if j, _, err := Begin(ctx, to, Access{User: "lead", Password: "l"}); err != nil {
				t.Fatal(err)
			} else if err := j.Close(); err != nil {
				t.Fatal(err)
			}
			j, err := Open(ctx, to, Access{User: "bench", Password: "b"})
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = j.Close() }()
			a, err := j.About(ctx)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range append(c.risks, []string{"kept by one server alone"}) {
				if !has(a.Risks, w...) {
					t.Errorf("lacks %q: %+v", w, a)
				}
			}
			for _, w := range c.unknown {
				if !has(a.Unknown, w...) {
					t.Errorf("lacks %q as not known: %+v", w, a)
				}
			}
			for _, w := range c.noRisks {
				if has(a.Risks, w) {
					t.Errorf("says %q: %+v", w, a)
				}
			}
			if len(a.Unknown) != len(c.unknown) || a.ReadOnly || a.MayDelete {
				t.Errorf("%+v", a)
			}
		})
	}
}

// TestAboutTheStream: a stream that somebody else made is told by what it is.
func TestAboutTheStream(t *testing.T) {
	t.Parallel()
	ctx, to := context.Background(), at(start(t, options(t, "one")))
	j, _, err := Begin(ctx, to+"/OTHER", Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = j.Close() }()
	if _, err := j.api.CreateStream(ctx, js.StreamConfig{Name: "LAB", Subjects: []string{"LAB.>"}, Storage: js.MemoryStorage, MaxMsgs: 10}); err != nil {
		t.Fatal(err)
	}
	k, err := Open(ctx, to+"/LAB", Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = k.Close() }()
	a, err := k.About(ctx)
	if err != nil || !a.MayDelete {
		t.Fatalf("%+v, %v", a, err)
	}
	for _, w := range []string{"lies in memory", "deny_delete", "limits"} {
		if !has(a.Risks, w) {
			t.Errorf("lacks %q: %+v", w, a)
		}
	}
	if _, err := j.api.CreateStream(ctx, js.StreamConfig{Name: "LATE", Subjects: []string{"LATE.>"}, Storage: js.FileStorage, PersistMode: js.AsyncPersistMode}); err != nil {
		t.Skip("these servers know no persist_mode: ", err)
	}
	l, err := Open(ctx, to+"/LATE", Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	if a, err := l.About(ctx); err != nil || !has(a.Risks, "answers before it writes") {
		t.Errorf("%+v, %v", a, err)
	}
}

// TestCovers: subjects as the servers match them (NATS documentation, "Subject-Based Messaging": *
// stands for one token, > for one or more at the end).
func TestCovers(t *testing.T) {
	for p, subjects := range map[string]map[string]bool{
		"a.b":   {"a.b": true, "a": false, "a.b.c": false},
		"a.*":   {"a.b": true, "a": false, "a.b.c": false},
		"a.>":   {"a.b": true, "a": false, "a.b.c": true},
		">":     {"a": true, "a.b.c": true},
		"*.b.*": {"a.b.c": true, "a.c.c": false, "a.b": false},
	} {
		for s, want := range subjects {
			if covers(p, s) != want {
				t.Errorf("%s covers %s: %v", p, s, !want)
			}
		}
	}
}
