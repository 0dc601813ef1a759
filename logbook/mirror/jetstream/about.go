package jetstream

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	js "github.com/nats-io/nats.go/jetstream"

	"flaskside/logbook/mirror"
)

// politeness is how long a question is waited for that servers need not answer.
const politeness = time.Second

// About tells of the stream, of what this account may do there, and of what cannot be seen.
func (j *JetStream) About(ctx context.Context) (mirror.About, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	a := mirror.About{Kind: "NATS JetStream"}
	info, err := j.stream.Info(ctx)
	if err != nil {
		return a, reached(err)
	}
	a.Replicas, a.MayDelete = info.Config.Replicas, !info.Config.DenyDelete || !info.Config.DenyPurge
	warn := func(what, do string) { a.Risks = append(a.Risks, mirror.Risk{What: what, Do: do}) }
	if info.Config.Replicas < replicas {
		what := "the stream is kept by one server alone, whose disk is the only one"
		if info.Config.Replicas == 2 {
			what = "the stream is kept by two servers, and takes nothing while one of them is down"
		}
		warn(what, "have three servers keep it (num_replicas)")
	}
	if c := info.Cluster; c != nil {
		for _, r := range c.Replicas {
			if r.Offline || !r.Current {
				warn(fmt.Sprintf("the server %s of the stream does not have the newest: one copy fewer than it looks", r.Name), "see why that server does not follow")
			}
		}
	}
	if info.Config.Storage == js.MemoryStorage {
		warn("the stream lies in memory: all of it is gone when the servers restart", "make a stream that is kept in files")
	}
	if a.MayDelete {
		warn("messages may be removed from the stream", "have it made with deny_delete and deny_purge")
	}
	if l := info.Config; l.MaxMsgs > 0 || l.MaxBytes > 0 || l.MaxAge > 0 || l.MaxMsgsPerSubject > 0 {
		warn("the stream has limits, at which it drops what is old or takes nothing new", "take the limits off the stream")
	}
	j.rights(ctx, &a)
	if info.Config.PersistMode == js.AsyncPersistMode {
		warn("the stream answers before it writes (persist_mode async): a crash can lose what it acknowledged", "set persist_mode to default")
		return a, nil
	}
	servers := map[string]bool{}
	if c := info.Cluster; c != nil {
		servers[c.Leader] = true
		for _, r := range c.Replicas {
			servers[r.Name] = true
		}
	} else {
		servers[j.conn.ConnectedServerName()] = true
	}
	j.syncs(ctx, &a, servers)
	return a, nil
}

// rights asks what this account may do and how long it is good for, which servers tell of
// themselves to whoever may ask that.
func (j *JetStream) rights(ctx context.Context, a *mirror.About) {
	ctx, cancel := context.WithTimeout(ctx, politeness)
	defer cancel()
	var said struct {
		Data *struct {
			Expires     time.Duration `json:"expires"`
			Permissions *struct {
				Publish *rules `json:"publish"`
			} `json:"permissions"`
		} `json:"data"`
	}
	m, err := j.conn.RequestWithContext(ctx, "$SYS.REQ.USER.INFO", nil)
	if err != nil || json.Unmarshal(m.Data, &said) != nil || said.Data == nil {
		a.Unknown = append(a.Unknown, mirror.Risk{What: "what this account may take away there cannot be seen from here", Do: fmt.Sprintf("look whether its permissions deny $JS.API.STREAM.DELETE.%s and $JS.API.STREAM.UPDATE.%s", j.name, j.name)})
		return
	}
	a.Left = said.Data.Expires
	var may rules
	if p := said.Data.Permissions; p != nil && p.Publish != nil {
		may = *p.Publish
	}
	var can, deny []string
	for _, v := range []struct{ verb, what string }{{"DELETE", "delete the stream with all that is in it"}, {"UPDATE", "change how long it keeps what"}} {
		if to := "$JS.API.STREAM." + v.verb + "." + j.name; may.allow(to) {
			can, deny = append(can, v.what), append(deny, to)
		}
	}
	if len(can) > 0 {
		a.Risks = append(a.Risks, mirror.Risk{What: "this account may " + strings.Join(can, ", and "), Do: "deny it " + strings.Join(deny, " and ")})
	}
	if subject := j.name + ".book.g1"; !may.allow(subject) {
		a.ReadOnly = true
	}
}

// rules are the subjects to which an account may publish.
type rules struct {
	Allow []string `json:"allow"`
	Deny  []string `json:"deny"`
}

func (r rules) allow(subject string) bool {
	for _, p := range r.Deny {
		if covers(p, subject) {
			return false
		}
	}
	for _, p := range r.Allow {
		if covers(p, subject) {
			return true
		}
	}
	return len(r.Allow) == 0
}

// covers tells whether a pattern covers a subject: * is one word, > all that are left.
func covers(pattern, subject string) bool {
	p, s := strings.Split(pattern, "."), strings.Split(subject, ".")
	for i, w := range p {
		if w == ">" {
			return len(s) > i
		}
		if i >= len(s) || w != "*" && w != s[i] {
			return false
		}
	}
	return len(p) == len(s)
}

// syncs asks the servers of the stream when they sync. They tell that only to an account of
// those who run them, or where that account lets this one ask; the settings of the stream do not.
func (j *JetStream) syncs(ctx context.Context, a *mirror.About, servers map[string]bool) {
	ctx, cancel := context.WithTimeout(ctx, politeness)
	defer cancel()
	told, late := map[string]bool{}, ""
	inbox := j.conn.NewInbox()
	sub, err := j.conn.SubscribeSync(inbox)
	if err == nil {
		defer func() { _ = sub.Unsubscribe() }() // at the latest the connection ends it
		err = j.conn.PublishRequest("$SYS.REQ.SERVER.PING.JSZ", inbox, nil)
	}
	for err == nil && len(told) < len(servers) && late == "" {
		var m *nats.Msg
		if m, err = sub.NextMsgWithContext(ctx); err != nil {
			break
		}
		var said struct {
			Server struct {
				Name string `json:"name"`
			} `json:"server"`
			Data *struct {
				Config *struct {
					Always bool `json:"sync_always"`
				} `json:"config"`
			} `json:"data"`
		}
		if m.Header.Get("Status") != "" || json.Unmarshal(m.Data, &said) != nil { // nobody there answers such a question
			break
		}
		if !servers[said.Server.Name] || said.Data == nil || said.Data.Config == nil {
			continue
		}
		if !said.Data.Config.Always {
			late = said.Server.Name
		}
		told[said.Server.Name] = true
	}
	const can, set = "a power cut of most of the servers at once can lose what they acknowledged in the last two minutes", "set sync_interval: always under jetstream in the configuration of each server"
	switch {
	case late != "":
		a.Risks = append(a.Risks, mirror.Risk{What: "the server " + late + " does not sync what it acknowledges: " + can, Do: set})
	case len(told) < len(servers):
		a.Unknown = append(a.Unknown, mirror.Risk{What: "whether the servers sync what they acknowledge cannot be seen from here; if not, " + can, Do: "look whether sync_interval: always stands under jetstream in the configuration of each server"})
	}
}
