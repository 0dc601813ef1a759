// Package jetstream keeps a mirror with NATS JetStream servers that others run: for several
// benches or laboratories, best with three servers of which each keeps a copy.
//
// One stream holds the mirror; each generation of a book is a subject in it and each run a
// message. A message names the one before it on its subject, so that of two who write behind
// the same end one is refused; its id is the hash of its last record with the book and the
// generation, so that the same run sent again is known and another history never is. What a
// duplicate holds is judged by what is there afterwards.
package jetstream

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	js "github.com/nats-io/nats.go/jetstream"

	"flaskside/logbook/mirror"
)

const (
	defaultPort   = "4222"
	defaultStream = "FLASKSIDE"
	patience      = 5 * time.Second // for one answer
	stillness     = 15 * time.Second
	replicas      = 3 // of a stream that is begun where there are as many servers
)

// Access is what opens the servers, from a file or the environment; never from a logbook.
type Access struct {
	CredsFile      string // of a decentralised account: key and token
	User, Password string
	Token          string
	RootsPEM       []byte // of the authority that signed the servers' certificates; nil for those of the system
}

// JetStream is a mirror kept by servers.
type JetStream struct {
	conn   *nats.Conn
	api    js.JetStream
	stream js.Stream
	name   string
}

// address is what nats://HOST[:PORT][,HOST…][/STREAM] names.
type address struct {
	hosts    []string
	stream   string
	loopback bool // all of them are this machine
	tls      bool // asked for by tls://
}

func parse(to string) (a address, err error) {
	scheme, rest, _ := strings.Cut(to, "://")
	hosts, stream, _ := strings.Cut(rest, "/")
	if a.stream = strings.TrimSuffix(stream, "/"); a.stream == "" {
		a.stream = defaultStream
	}
	if strings.ContainsAny(a.stream, ".*> \t\\/") {
		return a, fmt.Errorf("%q is no name of a stream: letters, digits, - and _ are", a.stream)
	}
	a.tls, a.loopback = scheme == "tls", true
	for _, h := range strings.Split(hosts, ",") {
		host, port, err := net.SplitHostPort(h)
		if err != nil {
			host, port = strings.Trim(h, "[]"), defaultPort
		}
		if _, err := strconv.ParseUint(port, 10, 16); err != nil || host == "" {
			return a, errors.New("the servers are given as nats://HOST:PORT, several with commas between them")
		}
		ip := net.ParseIP(host)
		a.loopback = a.loopback && (host == "localhost" || ip != nil && ip.IsLoopback())
		a.hosts = append(a.hosts, "nats://"+net.JoinHostPort(host, port))
	}
	return a, nil
}

// Open opens the mirror at an address. The error is [mirror.ErrNoMirror] where none was begun.
// Unless all servers are this machine, nothing goes over the wire that is not encrypted.
func Open(ctx context.Context, to string, access Access) (*JetStream, error) {
	j, err := connect(ctx, to, access)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	if j.stream, err = j.api.Stream(ctx, j.name); err != nil {
		j.conn.Close()
		if errors.Is(err, js.ErrStreamNotFound) {
			return nil, fmt.Errorf("%w: the servers have no stream %s: flaskside mirror --to begins one there", mirror.ErrNoMirror, j.name)
		}
		return nil, reached(err)
	}
	return j, nil
}

// Begin makes the stream where there is none, kept three times where there are three servers;
// made tells whether it did.
func Begin(ctx context.Context, to string, access Access) (j *JetStream, made bool, err error) {
	j, err = Open(ctx, to, access)
	if !errors.Is(err, mirror.ErrNoMirror) {
		return j, false, err
	}
	if j, err = connect(ctx, to, access); err != nil {
		return nil, false, err
	}
	cfg := js.StreamConfig{Name: j.name, Subjects: []string{j.name + ".>"}, Storage: js.FileStorage, Retention: js.LimitsPolicy, Discard: js.DiscardNew,
		DenyDelete: true, DenyPurge: true, Duplicates: 2 * time.Minute, Description: "copies of flaskside logbooks"}
	for _, cfg.Replicas = range []int{replicas, 1} {
		ctx, cancel := context.WithTimeout(ctx, patience)
		j.stream, err = j.api.CreateStream(ctx, cfg)
		cancel()
		var api *js.APIError
		if err == nil || !errors.As(err, &api) || api.ErrorCode != noCluster {
			break // one copy alone is made where one server says that it is the only one
		}
	}
	if api := (*js.APIError)(nil); errors.As(err, &api) && cfg.Replicas == replicas && (api.ErrorCode == noPeers || api.ErrorCode == noRoom) {
		err = fmt.Errorf("no %d servers can keep a copy now: are all of them up, and have they room? Nothing was begun: %w", replicas, err)
	}
	if err != nil {
		j.conn.Close()
		return nil, false, reached(err)
	}
	return j, true, nil
}

func connect(ctx context.Context, to string, access Access) (*JetStream, error) {
	a, err := parse(to)
	if err != nil {
		return nil, err
	}
	wait := patience // for each of them: one that is silent leaves time for the others
	if end, ok := ctx.Deadline(); ok {
		wait = min(wait, time.Until(end)/time.Duration(len(a.hosts)))
	}
	if wait <= 0 {
		return nil, reached(context.DeadlineExceeded)
	}
	opts := []nats.Option{nats.Name("flaskside"), nats.Timeout(wait), nats.MaxReconnects(-1), nats.IgnoreDiscoveredServers(),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})} // what goes wrong is told by whoever asked
	if a.tls || !a.loopback {
		cfg := &tls.Config{MinVersion: tls.VersionTLS12}
		if access.RootsPEM != nil {
			cfg.RootCAs = x509.NewCertPool()
			if !cfg.RootCAs.AppendCertsFromPEM(access.RootsPEM) {
				return nil, errors.New("the file of the servers' authority holds no certificate (PEM)")
			}
		}
		opts = append(opts, nats.Secure(cfg))
	}
	switch {
	case access.CredsFile != "":
		opts = append(opts, nats.UserCredentials(access.CredsFile))
	case access.Token != "":
		opts = append(opts, nats.Token(access.Token))
	case access.User != "":
		opts = append(opts, nats.UserInfo(access.User, access.Password))
	}
	conn, err := nats.Connect(strings.Join(a.hosts, ","), opts...)
	if err != nil {
		if errors.Is(err, nats.ErrSecureConnWanted) {
			return nil, errors.New("the servers of the mirror offer no encryption (TLS), and they are not this machine: nothing was sent")
		}
		return nil, reached(err)
	}
	api, err := js.New(conn, js.WithDefaultTimeout(patience))
	if err != nil {
		conn.Close()
		return nil, err
	}
	return &JetStream{conn: conn, api: api, name: a.stream}, nil
}

func reached(err error) error {
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired), errors.Is(err, nats.ErrPermissionViolation):
		return fmt.Errorf("the servers of the mirror refuse this account: %w", err)
	case errors.Is(err, nats.ErrNoServers), errors.Is(err, nats.ErrTimeout), errors.Is(err, context.DeadlineExceeded), errors.Is(err, nats.ErrNoResponders), errors.Is(err, js.ErrNoStreamResponse):
		return fmt.Errorf("the servers of the mirror do not answer: %w", err)
	}
	return fmt.Errorf("the mirror cannot be reached: %w", err)
}

// Close lets go of the servers.
func (j *JetStream) Close() error {
	j.conn.Close()
	return nil
}

// subject of a generation of a book; it begins with the name of the stream, so that several
// mirrors have room on the same servers.
func (j *JetStream) subject(s mirror.Stream) string {
	return fmt.Sprintf("%s.%s.g%d", j.name, s.Book, s.Generation)
}

// Streams lists the subjects that hold something.
func (j *JetStream) Streams(ctx context.Context) ([]mirror.Stream, error) {
	ctx, cancel := context.WithTimeout(ctx, 4*patience)
	defer cancel()
	info, err := j.stream.Info(ctx, js.WithSubjectFilter(j.name+".>"))
	if err != nil {
		return nil, reached(err)
	}
	var out []mirror.Stream
	for name := range info.State.Subjects {
		book, gen, ok := strings.Cut(strings.TrimPrefix(name, j.name+"."), ".g")
		n, err := strconv.Atoi(gen)
		if s := (mirror.Stream{Book: book, Generation: n}); ok && err == nil && n > 0 && j.subject(s) == name && mirror.IsBook(book) {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b mirror.Stream) int {
		return cmp.Or(strings.Compare(a.Book, b.Book), a.Generation-b.Generation)
	})
	return out, nil
}

// Last asks for the last message of a subject. Its number is the token that the next one names.
func (j *JetStream) Last(ctx context.Context, s mirror.Stream) (mirror.StreamEnd, error) {
	run, token, err := j.lastRun(ctx, s)
	end := run.End()
	end.Token = token
	return end, err
}

// LastRun gives the run of the last message. It may be asked for by many at the same time.
func (j *JetStream) LastRun(ctx context.Context, s mirror.Stream) (mirror.Run, error) {
	run, _, err := j.lastRun(ctx, s)
	return run, err
}

func (j *JetStream) lastRun(ctx context.Context, s mirror.Stream) (run mirror.Run, token uint64, err error) {
	m, err := j.last(ctx, s)
	if err != nil || m == nil {
		return run, 0, err
	}
	run, err = mirror.ParseRun(m.Data)
	if err == nil && (run.Header.Book != s.Book || run.Header.Generation != s.Generation) {
		err = errors.New("what it holds is of another logbook or generation")
	}
	if err != nil {
		return mirror.Run{}, 0, &mirror.Spoilt{Name: name(m.Sequence), Err: err}
	}
	return run, m.Sequence, nil
}

func (j *JetStream) last(ctx context.Context, s mirror.Stream) (*js.RawStreamMsg, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	m, err := j.stream.GetLastMsgForSubject(ctx, j.subject(s))
	if errors.Is(err, js.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, reached(err)
	}
	return m, nil
}

func name(seq uint64) string { return fmt.Sprintf("message %d", seq) }

// Append sends a run behind an end.
func (j *JetStream) Append(ctx context.Context, s mirror.Stream, expect mirror.StreamEnd, r mirror.Run) error {
	if r.Header.First != expect.Seq+1 {
		return mirror.ErrMoved
	}
	b, err := r.Bytes()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	ack, err := j.publish(ctx, s, expect, r, b)
	var api *js.APIError
	switch {
	case errors.As(err, &api) && (api.ErrorCode == js.JSErrCodeStreamWrongLastSequence || api.ErrorCode == js.JSErrCodeStreamWrongLastSequenceConstant):
		return mirror.ErrMoved
	case errors.Is(err, nats.ErrMaxPayload):
		return fmt.Errorf("records %d to %d take %d bytes, more than the servers of the mirror take at once: set max_payload there to 8 MB", r.Header.First, r.Header.Last, len(b))
	case err != nil:
		return reached(err)
	case ack.Duplicate:
		// It was stored before; whether it is the end is what is there.
		end, err := j.Last(ctx, s)
		if err == nil && (end.Seq != r.Header.Last || end.Hash != r.Header.Hash) {
			err = mirror.ErrMoved
		}
		return err
	}
	return nil
}

// What servers answer that shall keep a stream.
const (
	noPeers   js.ErrorCode = 10005 // too few of them
	noRoom    js.ErrorCode = 10023
	noCluster js.ErrorCode = 10074 // a server that knows of no others
)

// Servers that agree anew on who leads answer nothing for a moment; the same bytes are asked
// again so often and so far apart until then.
const (
	agreeing = 20
	agreed   = 250 * time.Millisecond
)

// underWay: another hand is just sending the same run.
const underWay js.ErrorCode = 10158

func (j *JetStream) publish(ctx context.Context, s mirror.Stream, expect mirror.StreamEnd, r mirror.Run, b []byte) (ack *js.PubAck, err error) {
	for {
		ack, err = j.api.Publish(ctx, j.subject(s), b, js.WithMsgID(fmt.Sprintf("%s.g%d.%s", s.Book, s.Generation, r.ID())),
			js.WithExpectStream(j.name), js.WithExpectLastSequencePerSubject(expect.Token), js.WithRetryAttempts(agreeing), js.WithRetryWait(agreed))
		var api *js.APIError
		if !errors.As(err, &api) || api.ErrorCode != underWay {
			return ack, err
		}
		select { // the same bytes again tell what became of it
		case <-ctx.Done():
			return ack, err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// Read gives the messages of a subject in order, from the first that may hold a record.
func (j *JetStream) Read(ctx context.Context, s mirror.Stream, from uint64, f func(mirror.Object) error) error {
	last, err := j.last(ctx, s)
	if err != nil || last == nil {
		return err
	}
	// Whoever asks for all gets all, whatever the last one says of itself.
	if run, err := mirror.ParseRun(last.Data); err == nil && from > 1 && from >= run.Header.First {
		return f(mirror.Object{Name: name(last.Sequence), Raw: last.Data})
	}
	begin, err := j.find(ctx, s, from, last.Sequence)
	if err != nil {
		return err
	}
	c, err := j.stream.OrderedConsumer(ctx, js.OrderedConsumerConfig{FilterSubjects: []string{j.subject(s)}, DeliverPolicy: js.DeliverByStartSequencePolicy, OptStartSeq: max(1, begin), MaxResetAttempts: 5, InactiveThreshold: stillness})
	if err != nil {
		return reached(err)
	}
	it, err := c.Messages()
	if err != nil {
		return reached(err)
	}
	defer j.done(c, it)
	for {
		wait, cancel := context.WithTimeout(ctx, stillness)
		m, err := it.Next(js.NextContext(wait))
		cancel()
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return reached(err)
		}
		meta, err := m.Metadata()
		if err != nil {
			return reached(err)
		}
		at := meta.Sequence.Stream
		if at > last.Sequence {
			return nil // it came meanwhile
		}
		if err := f(mirror.Object{Name: name(at), Raw: m.Data()}); err != nil || at == last.Sequence {
			return err
		}
	}
}

// done ends a reading. What the servers keep for it they let go of at once, where this account may
// ask for that, else a little later: they have room for so many readings only.
func (j *JetStream) done(c js.Consumer, it js.MessagesContext) {
	it.Stop()
	if in := c.CachedInfo(); in != nil {
		ctx, cancel := context.WithTimeout(context.Background(), politeness)
		defer cancel()
		_ = j.stream.DeleteConsumer(ctx, in.Name) // as above
	}
}

// find looks for the message that holds a record, by halves; where one of those looked at
// cannot be read it begins at the first.
func (j *JetStream) find(ctx context.Context, s mirror.Stream, from, last uint64) (uint64, error) {
	if from <= 1 {
		return 1, nil
	}
	low, high := uint64(1), last // the message lies between
	for low < high {
		mid := low + (high-low)/2
		wait, cancel := context.WithTimeout(ctx, patience)
		m, err := j.stream.GetMsg(wait, mid, js.WithGetMsgSubject(j.subject(s))) // that one, or the next of the subject
		cancel()
		if err != nil {
			return 1, reached(err)
		}
		run, err := mirror.ParseRun(m.Data)
		if err != nil {
			return 1, nil //nolint:nilerr // it is found again by whoever reads from the first on
		}
		if run.Header.Last >= from {
			high = mid
		} else {
			low = m.Sequence + 1
		}
	}
	return low, nil
}

var (
	_ mirror.Remote   = (*JetStream)(nil)
	_ mirror.Parallel = (*JetStream)(nil)
)
