package board

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"io"
	"net/http"
	"runtime/debug"
	"strings"
)

// handle answers one request. Nothing is looked at before it is known who asks.
func (b *Board) handle(w http.ResponseWriter, r *http.Request) {
	defer func() {
		if p := recover(); p != nil && b.cfg.Fault != nil {
			b.fault(p)
			panic(http.ErrAbortHandler) // what has begun is no page
		}
	}()
	h := w.Header()
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	switch {
	case !b.ours(r):
		refuse(w, http.StatusMisdirectedRequest, "this is not the board of that address: open it by the number of the computer")
		return
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		h.Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, "the board can only be looked at")
		return
	}
	token, page, ok := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	if !same(token, b.cfg.Token()) {
		refuse(w, http.StatusNotFound, "there is nothing here")
		return
	}
	theme := r.URL.Query().Get("theme")
	if theme != "dark" && theme != "light" {
		theme = ""
	}
	switch {
	case !ok:
		h.Set("Location", "/"+token+"/")
		w.WriteHeader(http.StatusPermanentRedirect)
	case page == "":
		b.page(w, r, theme)
	case page == "news":
		b.news(w, r)
	case page == "benches" && b.mirrored():
		b.benches(w, r, theme)
	default:
		refuse(w, http.StatusNotFound, "there is nothing here")
	}
}

// same compares what somebody says with the token, in a time that does not hang on how much of
// it is right. Nobody is let in where there is none.
func same(said, token string) bool {
	a, b := sha256.Sum256([]byte(said)), sha256.Sum256([]byte(token))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1 && token != ""
}

// refuse says in a line why there is nothing, and lets the connection go.
func refuse(w http.ResponseWriter, code int, why string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Connection", "close")
	w.WriteHeader(code)
	_, _ = io.WriteString(w, why+"\n") // whoever asked may be gone
}

func (b *Board) fault(p any) {
	if b.cfg.Fault == nil || b.cfg.Trouble == nil {
		return
	}
	file := b.cfg.Fault(fmt.Sprintf("board: %v\n\n%s", p, debug.Stack()))
	b.cfg.Trouble("a fault in the wall board; the logbook is not damaged, timers keep running. Details in " + file)
}

// policy lets a page run its own script and style and ask its own server, and nothing else.
func policy(h http.Header, nonce string) {
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'nonce-"+nonce+"'; style-src 'nonce-"+nonce+
		"'; connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
}

// send writes a page whole, or not at all where it could not be made.
func (b *Board) send(w http.ResponseWriter, r *http.Request, made func(nonce string) ([]byte, error)) {
	nonce := rand.Text()
	page, err := made(nonce)
	if err != nil {
		refuse(w, http.StatusInternalServerError, "the page could not be made")
		b.fault(err)
		return
	}
	policy(w.Header(), nonce)
	w.Header().Set("Content-Length", fmt.Sprint(len(page)))
	if r.Method == http.MethodHead {
		return
	}
	_, _ = w.Write(page) // whoever asked may be gone
}

// page is the board as it stands now, whole; its script listens from there on.
func (b *Board) page(w http.ResponseWriter, r *http.Request, theme string) {
	b.send(w, r, func(nonce string) ([]byte, error) {
		shown := b.now()
		var out bytes.Buffer
		err := pages().ExecuteTemplate(&out, "board", whole{frame: b.frame(nonce, theme, shown), shown: shown, Benches: b.mirrored()})
		return out.Bytes(), err
	})
}

// mirrored tells whether there are other benches to tell of.
func (b *Board) mirrored() bool {
	return b.cfg.Benches != nil && b.cfg.Bench.State().Bench.House.Mirror.To != ""
}
