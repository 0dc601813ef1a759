// Package postgres keeps a mirror in a PostgreSQL database, for houses where one runs already.
//
// One table holds the mirror, a run a row. A run is put in by one statement that looks at the
// end it goes behind; two that go behind the same end begin with the same record, and the key
// of the table refuses the second. Nothing is ever updated or deleted.
package postgres

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"flaskside/logbook/mirror"
)

const (
	table    = "flaskside_mirror"
	patience = 10 * time.Second // for one answer
	atOnce   = 50               // runs that are asked for together
)

const createTable = `create table ` + table + ` (
	book text not null, generation integer not null, first bigint not null, last bigint not null, hash text not null, run bytea not null,
	added timestamptz not null default now(), primary key (book, generation, first), check (first > 0 and last >= first))`

// Codes of PostgreSQL (its manual, appendix A).
const (
	uniqueViolation = "23505"
	undefinedTable  = "42P01"
	duplicateTable  = "42P07"

	noPrivilege = "42501"
	readOnly    = "25006"
)

// Access is what opens the server beside the address, from a file or the environment.
type Access struct {
	User, Password string
	RootsPEM       []byte // of the authority that signed the server's certificate; nil for those of the system
}

// Postgres is a mirror in a database.
type Postgres struct{ conn *pgconn.PgConn }

// Open opens the mirror in a database, postgres://HOST/DATABASE. The error is
// [mirror.ErrNoMirror] where none was begun. Unless the server is this machine, nothing goes
// over the wire that is not encrypted.
func Open(ctx context.Context, to string, access Access) (*Postgres, error) {
	p, err := connect(ctx, to, access)
	if err != nil {
		return nil, err
	}
	_, err = p.ask(ctx, "select 1 from "+table+" limit 1")
	if code(err) == undefinedTable {
		err = fmt.Errorf("%w: the database has no table %s: flaskside mirror --to begins one there", mirror.ErrNoMirror, table)
	}
	if err != nil {
		_ = p.Close()
		return nil, reached(err)
	}
	return p, nil
}

// Begin makes the table where there is none; made tells whether it did.
func Begin(ctx context.Context, to string, access Access) (p *Postgres, made bool, err error) {
	p, err = Open(ctx, to, access)
	if !errors.Is(err, mirror.ErrNoMirror) {
		return p, false, err
	}
	if p, err = connect(ctx, to, access); err != nil {
		return nil, false, err
	}
	_, err = p.ask(ctx, createTable)
	if c := code(err); c == duplicateTable || c == uniqueViolation {
		return p, false, nil // somebody was quicker
	}
	if err != nil {
		_ = p.Close()
		return nil, false, reached(err)
	}
	return p, true, nil
}

func connect(ctx context.Context, to string, access Access) (*Postgres, error) {
	cfg, err := pgconn.ParseConfig(to)
	if err != nil {
		return nil, errors.New("the address of the database cannot be read: give it as postgres://USER@HOST/DATABASE")
	}
	cfg.ConnectTimeout = patience
	if access.User != "" {
		cfg.User = access.User
	}
	if access.Password != "" {
		cfg.Password = access.Password
	}
	// Never first one way, then without encryption, as the library would.
	cfg.Fallbacks, cfg.TLSConfig = nil, nil
	if !local(cfg.Host) {
		cfg.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, ServerName: cfg.Host}
		if access.RootsPEM != nil {
			cfg.TLSConfig.RootCAs = x509.NewCertPool()
			if !cfg.TLSConfig.RootCAs.AppendCertsFromPEM(access.RootsPEM) {
				return nil, errors.New("the file of the server's authority holds no certificate (PEM)")
			}
		}
	}
	cfg.RuntimeParams["application_name"] = "flaskside"
	cfg.RuntimeParams["synchronous_commit"] = "on" // what it answers is on its disk
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	conn, err := pgconn.ConnectConfig(ctx, cfg)
	if err != nil {
		return nil, reached(err)
	}
	return &Postgres{conn}, nil
}

// local tells whether a host is this machine: its own address, or a socket in a folder.
func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || strings.HasPrefix(host, "/") || ip != nil && ip.IsLoopback()
}

func code(err error) string {
	if pg, ok := errors.AsType[*pgconn.PgError](err); ok {
		return pg.Code
	}
	return ""
}

func reached(err error) error {
	var refused *pgconn.ConnectError
	switch {
	case err == nil, errors.Is(err, mirror.ErrNoMirror):
		return err
	case code(err) == noPrivilege, code(err) == readOnly:
		return fmt.Errorf("the database of the mirror refuses this account: %w", err)
	case errors.As(err, &refused):
		return fmt.Errorf("the database of the mirror cannot be reached: %w", err)
	}
	return fmt.Errorf("the mirror cannot be reached: %w", err)
}

// Close lets go of the database.
func (p *Postgres) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return p.conn.Close(ctx)
}

// ask has one statement done that needs no values.
func (p *Postgres) ask(ctx context.Context, sql string) (*pgconn.Result, error) {
	return p.send(ctx, sql, nil, nil, nil)
}

func (p *Postgres) send(ctx context.Context, sql string, args [][]byte, formats, answer []int16) (*pgconn.Result, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	r := p.conn.ExecParams(ctx, sql, args, nil, formats, answer).Read()
	return r, r.Err
}

// Streams lists the generations of all books.
func (p *Postgres) Streams(ctx context.Context) ([]mirror.Stream, error) {
	r, err := p.ask(ctx, "select distinct book, generation from "+table+" order by book, generation")
	if err != nil {
		return nil, reached(err)
	}
	var out []mirror.Stream
	for _, row := range r.Rows {
		n, err := strconv.Atoi(string(row[1]))
		if s := (mirror.Stream{Book: string(row[0]), Generation: n}); err == nil && n > 0 && mirror.IsBook(s.Book) {
			out = append(out, s)
		}
	}
	return out, nil
}

// Last asks for the last run.
func (p *Postgres) Last(ctx context.Context, s mirror.Stream) (mirror.StreamEnd, error) {
	rows, err := p.runs(ctx, s, "order by first desc limit 1")
	if err != nil || len(rows) == 0 {
		return mirror.StreamEnd{}, err
	}
	run, err := mirror.ParseRun(rows[0].raw)
	if err == nil && (run.Header.Book != s.Book || run.Header.Generation != s.Generation || run.Header.First != rows[0].first) {
		err = errors.New("what it holds is of another logbook, generation or number")
	}
	if err != nil {
		return mirror.StreamEnd{}, &mirror.Spoilt{Name: rows[0].name(), Err: err}
	}
	return run.End(), nil
}

// row is a run as it lies there.
type row struct {
	first uint64
	raw   []byte
}

func (r row) name() string { return fmt.Sprintf("the row from record %d", r.first) }

// runs asks for rows of a stream; more are the words behind it, more values from $3 on.
func (p *Postgres) runs(ctx context.Context, s mirror.Stream, more string, values ...string) ([]row, error) {
	args := [][]byte{[]byte(s.Book), []byte(strconv.Itoa(s.Generation))}
	for _, v := range values {
		args = append(args, []byte(v))
	}
	r, err := p.send(ctx, "select first, run from "+table+" where book = $1 and generation = $2::integer "+more, args, nil, []int16{0, 1}) // the run as bytes
	if err != nil {
		return nil, reached(err)
	}
	var out []row
	for _, v := range r.Rows {
		first, err := strconv.ParseUint(string(v[0]), 10, 64)
		if err != nil {
			return nil, fmt.Errorf("the answer of the database cannot be read: %w", err)
		}
		out = append(out, row{first, v[1]})
	}
	return out, nil
}

// Append puts a run behind an end.
func (p *Postgres) Append(ctx context.Context, s mirror.Stream, expect mirror.StreamEnd, r mirror.Run) error {
	if r.Header.First != expect.Seq+1 {
		return mirror.ErrMoved
	}
	b, err := r.Bytes()
	if err != nil {
		return err
	}
	num := func(n uint64) []byte { return []byte(strconv.FormatUint(n, 10)) }
	hash := ""
	if expect.Seq > 0 {
		hash = expect.Hash.String()
	}
	args := [][]byte{[]byte(s.Book), []byte(strconv.Itoa(s.Generation)), num(r.Header.First), num(r.Header.Last), []byte(r.Header.Hash.String()), b, num(expect.Seq), []byte(hash)}
	done, err := p.send(ctx, `insert into `+table+` (book, generation, first, last, hash, run)
		select $1::text, $2::integer, $3::bigint, $4::bigint, $5::text, $6::bytea
		where coalesce((select last || ':' || hash from `+table+` where book = $1::text and generation = $2::integer order by first desc limit 1), '0:') = $7::bigint || ':' || $8::text`,
		args, []int16{0, 0, 0, 0, 0, 1, 0, 0}, nil)
	switch {
	case code(err) == uniqueViolation:
		return mirror.ErrMoved
	case err != nil:
		return reached(err)
	case done.CommandTag.RowsAffected() != 1:
		return mirror.ErrMoved
	}
	return nil
}

// Read gives the runs that may hold records from a number on, in order.
func (p *Postgres) Read(ctx context.Context, s mirror.Stream, from uint64, f func(mirror.Object) error) error {
	rows, err := p.runs(ctx, s, "and last >= $3::bigint order by first limit "+strconv.Itoa(atOnce), strconv.FormatUint(from, 10))
	for err == nil && len(rows) > 0 {
		for _, r := range rows {
			if err := f(mirror.Object{Name: r.name(), Raw: r.raw}); err != nil {
				return err
			}
		}
		after := strconv.FormatUint(rows[len(rows)-1].first, 10)
		rows, err = p.runs(ctx, s, "and first > $3::bigint order by first limit "+strconv.Itoa(atOnce), after)
	}
	return err
}

// About tells of the database.
func (p *Postgres) About(ctx context.Context) (mirror.About, error) {
	a := mirror.About{Kind: "PostgreSQL"}
	r, err := p.ask(ctx, `select current_setting('fsync'), current_setting('full_page_writes'), current_setting('transaction_read_only'),
		has_table_privilege('`+table+`', 'DELETE') or has_table_privilege('`+table+`', 'UPDATE') or has_table_privilege('`+table+`', 'TRUNCATE'), has_table_privilege('`+table+`', 'INSERT')`)
	if err != nil || len(r.Rows) != 1 {
		return a, reached(err)
	}
	v := r.Rows[0]
	a.ReadOnly = string(v[2]) == "on" || string(v[4]) == "f"
	a.MayDelete = string(v[3]) == "t"
	if string(v[0]) == "off" || string(v[1]) == "off" {
		a.Risks = append(a.Risks, mirror.Risk{What: "a power cut there can lose or spoil what it acknowledged, for its fsync or full_page_writes is off", Do: "set both on in its configuration"})
	}
	if a.MayDelete {
		a.Risks = append(a.Risks, mirror.Risk{What: "this account may change and take away what is there", Do: "one with SELECT and INSERT alone is enough once the table is made"})
	}
	return a, nil
}

var _ mirror.Remote = (*Postgres)(nil)
