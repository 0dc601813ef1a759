package house

import (
	"cmp"
	"errors"
	"flaskside/logbook/words"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Mirror is the copy of every record elsewhere.
type Mirror struct {
	To      string `json:"to,omitempty" toml:"to" comment:"where: the whole path of a folder (a share, another disk), nats://HOST for NATS JetStream servers, postgres://USER@HOST/DATABASE, or '' for none;\nno password belongs here. Begin it with flaskside mirror --to"`
	Bench   string `json:"bench,omitempty" toml:"bench" comment:"what this bench is called there; '' for the name of the laboratory"`
	NoNotes bool   `json:"no_notes,omitempty" toml:"no_notes" comment:"true: records with notes, remarks or reasons in words of your own stay in the house, the mirror has only their hashes.\nNo logbook can be made of such a mirror, only its other records come back. What is there already stays there"`
}

const placesAre = "the whole path of a folder, as in /media/stick/mirror, nats://HOST for NATS JetStream servers, or postgres://USER@HOST/DATABASE"

// PlaceKind is what kind of place the mirror is at: "folder", or the scheme of an address; the
// error says what would be right. It never repeats what may be a password.
func PlaceKind(to string) (string, error) {
	if path := strings.HasPrefix(to, "/") || strings.HasPrefix(to, `\\`) || len(to) > 2 && to[1] == ':' && (to[2] == '\\' || to[2] == '/'); path {
		return "folder", nil
	}
	scheme, rest, is := strings.Cut(to, "://")
	if !is {
		return "", errors.New("the place of a mirror is " + placesAre)
	}
	secret := false
	switch scheme {
	case "nats", "tls":
		secret = strings.ContainsAny(to, "@?#") // a lone name before @ is a token
	case "postgres", "postgresql":
		who, _, named := strings.Cut(rest, "@")
		secret = named && strings.Contains(who, ":") || strings.Contains(strings.ToLower(rest), "password")
		scheme = "postgres"
	default:
		return "", errors.New("the place of a mirror is " + placesAre)
	}
	if secret {
		return "", errors.New("a password or token does not belong in the place of a mirror, for the logbook would keep it: put it in a file (FLASKSIDE_MIRROR_CREDENTIALS)")
	}
	return scheme, nil
}

// MirrorName is what the bench is called in a mirror, "" where the house has no name for it.
func (h House) MirrorName() string {
	return cmp.Or(h.Mirror.Bench, h.Lab)
}

func (m Mirror) valid() error {
	if m.To != "" {
		if utf8.RuneCountInString(m.To) > 300 || !words.Plain(m.To) {
			return errors.New("settings: mirror.to has at most 300 plain characters")
		}
		if _, err := PlaceKind(m.To); err != nil {
			return fmt.Errorf("settings: mirror.to cannot be used: %w", err)
		}
	}
	if utf8.RuneCountInString(m.Bench) > 60 || !words.Plain(m.Bench) {
		return errors.New("settings: mirror.bench has at most 60 plain characters")
	}
	return nil
}
