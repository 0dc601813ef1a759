package action

import (
	"encoding/json"
	"flaskside/logbook/words"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"
)

// Every kind is written and read back as it was.
func TestRoundTrip(t *testing.T) {
	all := samples()
	for _, k := range Kinds() {
		pair, ok := all[k]
		if !ok {
			t.Errorf("no sample of the kind %q", k)
			continue
		}
		for i, body := range pair {
			a := actOf(body)
			if i == 1 {
				a = Action{ID: "x", At: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), Body: body}
			}
			raw := written(t, a)
			got, err := Decode(raw)
			if err != nil {
				t.Errorf("%s does not read back: %v", raw, err)
				continue
			}
			if !got.At.Equal(a.At) || got.At.Format(time.RFC3339Nano) != a.At.Format(time.RFC3339Nano) {
				t.Errorf("%s: at %v, want %v", k, got.At, a.At)
			}
			got.At = a.At // the same instant and offset, in another zone's clothes
			if !reflect.DeepEqual(got, a) {
				t.Errorf("%s came back as\n %+v, want\n %+v", k, got, a)
			}
			if got.Kind() != k {
				t.Errorf("%s came back as a %q", k, got.Kind())
			}
			var via Action
			if err := json.Unmarshal(raw, &via); err != nil || via.ID != a.ID || via.Kind() != k {
				t.Errorf("%s through Unmarshal: %+v, %v", k, via, err)
			}
		}
	}
	if len(all) != len(Kinds()) {
		t.Errorf("%d samples for %d kinds", len(all), len(Kinds()))
	}
}

// Every field of every body is read under its own name: a sample with all fields
// filled has no zero field left, so that a field without a name would be seen.
func TestSamplesAreWhole(t *testing.T) {
	exempt := map[string]bool{"DayPlan.Away": true, "Note.Mix": true, "Note.Load": true, "Settings.House": true, "CaseStep.Event": true,
		"EquipIn.RatedPSI": true, "EquipIn.Litres": true, "EquipIn.Spring": true, "EquipCheck.ReadC": true, "EquipCheck.AgainstC": true, "EquipCheck.ReadPSI": true, "EquipCheck.AgainstPSI": true} // one piece has not all of them
	for k, pair := range samples() {
		v := reflect.ValueOf(pair[0])
		for i := range v.NumField() {
			name := v.Type().Name() + "." + v.Type().Field(i).Name
			if v.Field(i).IsZero() && !exempt[name] {
				t.Errorf("the sample of %s leaves %s empty", k, name)
			}
			tag := v.Type().Field(i).Tag.Get("json")
			if n, _, _ := strings.Cut(tag, ","); n == "" || n != strings.ToLower(n) {
				t.Errorf("%s has the name %q: names are in lower case", name, n)
			}
		}
	}
}

// What an export wrote is read again: the fields that only a record has are passed
// over.
func TestDecodePassesOverRecordFields(t *testing.T) {
	raw := `{"v":1,"seq":12,"prev":"00","written":"2026-11-25T13:07:32Z","zone":"Europe/Berlin","boot":"b","boot_ns":1,"carried":true,` +
		`"id":"x","at":"2026-11-25T14:07:32+01:00","act":"press-open","body":{"flask":3}}`
	a, err := Decode([]byte(raw))
	if err != nil || a.Body != (PressOpen{Flask: 3}) {
		t.Errorf("got %+v, %v", a, err)
	}
}

// inFrame puts a body into an otherwise good action.
func inFrame(k, body string) string {
	return fmt.Sprintf(`{"id":"x","at":"2026-11-25T14:07:32+01:00","act":%q,"body":%s}`, k, body)
}

// Each refusal is one line that says what is wrong and what would be right.
func TestRefusals(t *testing.T) {
	const head = `{"id":"x","at":"2026-11-25T14:07:32+01:00",`
	deep := strings.Repeat("[", 20) + strings.Repeat("]", 20)
	for _, c := range []struct {
		in, want string
	}{
		// The frame.
		{``, "this is not one JSON object"},
		{`{`, "this is not one JSON object"},
		{`{"id":"x",}`, "this is not one JSON object"},
		{"\xef\xbb\xbf" + inFrame("press-open", `{"flask":3}`), "this is not one JSON object"},
		{"{\"id\":\"\xff\"}", "the text is not UTF-8"},
		{inFrame("press-open", `{"flask":3}`) + `{}`, "one action a line"},
		{inFrame("press-open", `{"flask":3}`) + ` x`, "one action a line"},
		{`{"id":"x","id":"y"}`, `the field "id" is there twice`},
		{inFrame("flash", `{"flask":3,"flask":4,"grade":"heavy"}`), `the field "flask" is there twice`},
		{inFrame("correct", `{"of":"a","set":{"grade":"none","grade":"heavy"}}`), `the field "grade" is there twice`},
		{`{"ID":"x"}`, `unknown field "ID": names are in lower case`},
		{inFrame("flash", `{"Flask":3,"grade":"heavy"}`), `unknown field "Flask": names are in lower case`},
		{head + `"colour":1,"act":"press-open","body":{"flask":3}}`, `unknown field "colour"`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","colour":1}`), `act flash: unknown field "colour"`},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","stages":[{"temp_c":74,"hold_s":60,"x":1}]}`), `unknown field "x"`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","where":`+deep+`}`), "nested too deeply"},
		{`{"id":"` + strings.Repeat("x", MaxLine) + `"}`, "an action has at most 65536 bytes, this has 65545"},
		{`{"at":"2026-11-25T14:07:32+01:00","act":"press-open","body":{"flask":3}}`, `"id" is missing: give each action an id of its own`},
		{`{"id":"` + strings.Repeat("x", 65) + `","at":"2026-11-25T14:07:32+01:00","act":"press-open","body":{"flask":3}}`, "an id has at most 64 characters, this has 65"},
		{`{"id":"a\u0007b","at":"2026-11-25T14:07:32+01:00","act":"press-open","body":{"flask":3}}`, "id holds a character that cannot be shown (U+0007): use plain letters"},
		{`{"id":"x","act":"press-open","body":{"flask":3}}`, `"at" is missing: when was it done? as in "at":"2026-11-25T14:07:32+01:00"`},
		{`{"id":"x","at":null,"act":"press-open","body":{"flask":3}}`, `"at" is missing`},
		{`{"id":"x","at":"yesterday","act":"press-open","body":{"flask":3}}`, `"yesterday" is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)`},
		{`{"id":"x","at":"2026-11-25 14:07:32","act":"press-open","body":{"flask":3}}`, "write it as 2026-11-25T14:07:32+01:00 (RFC 3339)"},
		{`{"id":"x","at":"2026-11-25T14:07:32","act":"press-open","body":{"flask":3}}`, "write it as 2026-11-25T14:07:32+01:00 (RFC 3339)"}, // RFC 3339, 5.6: the offset is not optional
		{`{"id":"x","at":"2026-11-25T14:07:32+01:00[Europe/Berlin]","act":"press-open","body":{"flask":3}}`, "write it as 2026-11-25T14:07:32+01:00"},
		{`{"id":"x","at":"2026-02-30T14:07:32Z","act":"press-open","body":{"flask":3}}`, "write it as 2026-11-25T14:07:32+01:00"},
		{`{"id":"x","at":"2026-11-25T14:07:32+25:00","act":"press-open","body":{"flask":3}}`, "write it as 2026-11-25T14:07:32+01:00"},
		{`{"id":"x","at":"1989-12-31T00:00:00Z","act":"press-open","body":{"flask":3}}`, `"at" says the year 1989: check the date`},
		{`{"id":"x","at":"2201-01-01T00:00:00Z","act":"press-open","body":{"flask":3}}`, `"at" says the year 2201: check the date`},
		{head + `"body":{"flask":3}}`, `"act" is missing: it names what was done, as in "act":"flash"`},
		{head + `"act":"dance","body":{}}`, `unknown act "dance": the acts are flask-open, flask-move, coat`},
		{head + `"act":"press-open"}`, `act press-open: "body" is missing`},
		{head + `"by":"ABCDEFGHI","act":"press-open","body":{"flask":3}}`, "by has at most 8 characters, this has 9"},
		{head + `"by":"  ","act":"press-open","body":{"flask":3}}`, `"by" is blank: give initials, or leave it out`},
		{head + `"by":"K\u001bT","act":"press-open","body":{"flask":3}}`, "by holds a character that cannot be shown (U+001B)"},
		{head + `"why":"` + strings.Repeat("x", 201) + `","act":"press-open","body":{"flask":3}}`, "why has at most 200 characters, this has 201"},
		{head + `"why":"a\nb","act":"press-open","body":{"flask":3}}`, "why holds a character that cannot be shown (U+000A)"},
		{head + `"unusual":["` + strings.Repeat(`x","`, 32) + `x"],"act":"press-open","body":{"flask":3}}`, `"unusual" has at most 32 entries`},
		{head + `"unusual":["a\u202eb"],"act":"press-open","body":{"flask":3}}`, "unusual holds a character that cannot be shown (U+202E)"},

		// Wrong kinds of value.
		{inFrame("flash", `{"flask":"3","grade":"heavy"}`), `act flash: the field "flask" cannot be a string: give a whole number`},
		{inFrame("flash", `{"flask":3.5,"grade":"heavy"}`), `give a whole number`},
		{inFrame("flash", `{"flask":3,"grade":1}`), `the field "grade" cannot be a number: give a text`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","grams":"1"}`), `the field "grams" cannot be a string: give a number`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","where":"lingual"}`), `the field "where" cannot be a string: give a list`},
		{inFrame("press-in", `{"flask":3,"added":"yes"}`), `the field "added" cannot be a string: give true or false`},
		{inFrame("clock", `{"what":"slept","by_s":1e30}`), `give a whole number`},

		// Values, kind by kind.
		{inFrame("flask-open", `{"place":10,"case":"1","base":"upper","size":"small"}`), "place must be 1 to 9, not 10"},
		{inFrame("flask-open", `{"place":0,"case":"1","base":"upper","size":"small"}`), "place must be 1 to 9, not 0"},
		{inFrame("flask-open", `{"place":1,"case":" ","base":"upper","size":"small"}`), "case is missing"},
		{inFrame("flask-open", `{"place":1,"case":"4417\u0007","base":"upper","size":"small"}`), "case holds a character that cannot be shown (U+0007)"},
		{inFrame("flask-open", `{"place":1,"case":"44\u200b17","base":"upper","size":"small"}`), "case holds a character that cannot be shown (U+200B)"},
		{inFrame("flask-open", `{"place":1,"case":"44\ufe0f17","base":"upper","size":"small"}`), "case holds a character that cannot be shown (U+FE0F)"},
		{inFrame("flask-open", `{"place":1,"case":"44\u202817","base":"upper","size":"small"}`), "case holds a character that cannot be shown (U+2028)"},
		{inFrame("flask-open", `{"place":1,"case":"44\ud80017","base":"upper","size":"small"}`), "case holds a character that cannot be shown (U+FFFD)"},
		{inFrame("flask-open", `{"place":1,"case":"`+strings.Repeat("é", 25)+`","base":"upper","size":"small"}`), "case has at most 24 characters, this has 25"},
		{inFrame("flask-open", `{"place":1,"case":"1","base":"Upper","size":"small"}`), `base must be one of upper, lower, partial, reline, not "Upper"`},
		{inFrame("flask-open", `{"place":1,"case":"1","base":"upper","size":"huge"}`), `size must be one of small, medium, large, not "huge"`},
		{inFrame("flask-open", `{"flask":-1,"place":1,"case":"1","base":"upper","size":"small"}`), "flask must be a number from 1 on, not -1"},
		{inFrame("flask-open", `{"place":1,"case":"1","base":"upper","size":"small","tag":"`+strings.Repeat("x", 25)+`"}`), "tag has at most 24 characters"},
		{inFrame("flask-move", `{"place":1}`), `act flask-move: "flask" is missing`},
		{inFrame("flask-move", `{"flask":null,"place":1}`), `act flask-move: "flask" is missing`},
		{inFrame("flask-move", `{"flask":0,"place":1}`), "flask must be a number from 1 on, not 0"},
		{inFrame("coat", `{"flask":3,"half":"top"}`), `half must be one of cast, teeth, both, not "top"`},
		{inFrame("coat", `{"flask":3,"half":"cast","dry_min_s":-1}`), "dry_min_s must be 0 to 1209600 seconds, not -1"},
		{inFrame("coat", `{"flask":3,"half":"cast","dry_min_s":600,"dry_max_s":500}`), "dry_max_s is 500, which is before 600, the end ahead of it"},
		{inFrame("mix", `{"flasks":[]}`), "flasks lists 0: give 1 to 9"},
		{inFrame("mix", `{"flasks":[1,2,3,4,5,6,7,8,9,10]}`), "flasks lists 10: give 1 to 9"},
		{inFrame("mix", `{"flasks":[1,1]}`), "flasks names 1 twice"},
		{inFrame("mix", `{"flasks":[1],"powder_g":-22}`), "powder_g must be 0.1 to 5000 g, not -22"},
		{inFrame("mix", `{"flasks":[1],"liquid_g":5001}`), "liquid_g must be 0.1 to 5000 g, not 5001"},
		{inFrame("mix", `{"flasks":[1],"room_c":46}`), "room_c must be 5 to 45 °C, not 46"},
		{inFrame("mix", `{"flasks":[1],"jar_c":-31}`), "jar_c must be -30 to 45 °C, not -31"},
		{inFrame("mix", `{"flasks":[1],"dough_s":600,"work_s":500}`), "work_s is 500, which is before 600"},
		{inFrame("mix-serve", `{"mix":0,"flasks":[1]}`), "mix must be a number from 1 on, not 0"},
		{inFrame("mix-dough", `{"mix":0}`), "mix must be a number from 1 on, not 0"},
		{inFrame("mix-stiff", `{"mix":2000000000}`), "mix must be a number from 1 on, not 2000000000"},
		{inFrame("press-in", `{"flask":3,"press":-1}`), "press must be a number from 1 on, not -1"},
		{inFrame("press-at", `{"flask":3,"pressure_psi":20001}`), "pressure_psi must be 1 to 20000 psi, not 20001"},
		{inFrame("press-at", `{"flask":3,"hold_s":1209601}`), "hold_s must be 0 to 1209600 seconds, not 1209601"},
		{inFrame("press-open", `{}`), `act press-open: "flask" is missing`},
		{inFrame("flash", `{"flask":3,"grade":"massive"}`), `grade must be one of none, slight, heavy, not "massive"`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","grams":-1}`), "grams must be 0.01 to 1000 g, not -1"},
		{inFrame("flash", `{"flask":3,"grade":"heavy","where":["front"]}`), `where must be one of posterior, left buccal, right buccal, labial, lingual, not "front"`},
		{inFrame("flash", `{"flask":3,"grade":"heavy","where":["labial","labial"]}`), "where names labial twice"},
		{inFrame("flash-more", `{"flask":3}`), "give grams, or where the flash was"},
		{inFrame("metal-to-metal", `{"flask":3,"pressure_psi":0.5}`), "pressure_psi must be 1 to 20000 psi, not 0.5"},
		{inFrame("clamp", `{"flask":3,"backed_off_turn":4.5}`), "backed_off_turn must be 0 to 4 turns, not 4.5"},
		{inFrame("clamp", `{"flask":3,"bench_min_s":60,"bench_max_s":30}`), "bench_max_s is 30, which is before 60"},
		{inFrame("bath-load", `{"flasks":[3]}`), `act bath-load: "programme" is missing`},
		{inFrame("bath-load", `{"flasks":[3],"programme":" "}`), "programme is missing"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","stages":[{"temp_c":150,"hold_s":60}]}`), "stage 1: temp_c must be 20 to 105 °C, not 150"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","stages":[{"temp_c":74,"hold_s":0}]}`), "a programme cannot be empty: give hold_s"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","stages":[{"temp_c":74,"hold_s":60}],"max_s":50}`), "max_s is 50, which is before 60"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","sections":[{"flask":4,"thin_mm":2,"thick_mm":3}]}`), "sections name flask 4, which is not in the load"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","sections":[{"flask":3,"thin_mm":3,"thick_mm":2}]}`), "thick_mm must be 3 to 30 mm, not 2"},
		{inFrame("bath-load", `{"flasks":[3],"programme":"p","bath_c":106}`), "bath_c must be 1 to 105 °C, not 106"},
		{inFrame("bath-reading", `{"bath":1}`), `act bath-reading: "temp_c" is missing`},
		{inFrame("bath-reading", `{"bath":1,"temp_c":131}`), "temp_c must be 0 to 130 °C, not 131"},
		{inFrame("bath-unload", `{"flasks":[3],"bench_s":-1}`), "bench_s must be 0 to 1209600 seconds, not -1"},
		{inFrame("cool-water", `{"flasks":[3],"water_s":-1}`), "water_s must be 0 to 1209600 seconds, not -1"},
		{inFrame("deflask", `{"flasks":[0]}`), "flasks must be a number from 1 on, not 0"},
		{inFrame("remount", `{"flask":3}`), `act remount: "pin_mm" is missing`},
		{inFrame("remount", `{"flask":3,"pin_mm":-0.1}`), "pin_mm must be 0 to 20 mm, not -0.1"},
		{inFrame("outcome", `{"flask":3,"outcome":"lost"}`), `outcome must be one of finished here, adjusted, remake, not "lost"`},
		{inFrame("outcome", `{"flask":3,"outcome":"remake","defects":["ugly"]}`), `defects must be one of porosity, open bite`},
		{inFrame("note", `{"text":"x"}`), "a note belongs to a flask, a mix or a load: name one"},
		{inFrame("note", `{"flask":3,"text":""}`), "text is missing"},
		{inFrame("note", `{"flask":3,"text":"`+strings.Repeat("x", 401)+`"}`), "text has at most 400 characters, this has 401"},
		{inFrame("timer-start", `{"label":"x","count":"sideways"}`), `count must be one of window, down, up, not "sideways"`},
		{inFrame("timer-start", `{"label":"x","count":"up","aim_s":5}`), "a count-up has no ends: leave min_s, aim_s and max_s out"},
		{inFrame("timer-start", `{"label":"x","count":"down"}`), "a count-down has one length: give aim_s alone"},
		{inFrame("timer-start", `{"label":"x","count":"down","aim_s":5,"max_s":6}`), "a count-down has one length: give aim_s alone"},
		{inFrame("timer-start", `{"label":"x","count":"window"}`), "a window needs an end: give min_s, aim_s or max_s"},
		{inFrame("timer-start", `{"label":"x","count":"window","min_s":60,"aim_s":30}`), "aim_s is 30, which is before 60"},
		{inFrame("timer-start", `{"label":"x","count":"window","aim_s":60,"max_s":30}`), "max_s is 30, which is before 60"},
		{inFrame("timer-start", `{"label":"","count":"up"}`), "label is missing"},
		{inFrame("timer-stop", `{"timer":0}`), "timer must be a number from 1 on, not 0"},
		{inFrame("alarm-heard", `{}`), `"alarm" is missing`},
		{inFrame("alarm-heard", `{"alarm":" "}`), "alarm is missing"},
		{inFrame("alarm-shelve", `{"alarm":"k","for_s":9}`), "for_s must be 10 seconds to a day, not 9: a snooze has an end"},
		{inFrame("alarm-shelve", `{"alarm":"k","for_s":86401}`), "for_s must be 10 seconds to a day, not 86401"},
		{inFrame("correct", `{"of":"a"}`), `"set" is missing`},
		{inFrame("correct", `{"of":"a","set":5}`), `"set" must be an object with the fields that change, as in {"grade":"slight"}`},
		{inFrame("correct", `{"of":"a","set":{}}`), `"set" must be an object with the fields that change`},
		{inFrame("correct", `{"of":"a","set":[1]}`), `"set" must be an object with the fields that change`},
		{inFrame("correct", `{"set":{"grade":"none"}}`), `"of" is missing`},
		{inFrame("take-back", `{"of":""}`), "of is missing"},
		{inFrame("settings", `{"house":{}}`), "units.pressure must be psi, bar or MPa"},
		{inFrame("crew", `{"initials":" "}`), "initials are missing"},
		{inFrame("caution", `{"hazard":"boredom"}`), `hazard must be one of monomer, press, bath, deflask, scald, dust, pot, soak, not "boredom"`},
		{inFrame("clock", `{"what":"","by_s":0}`), "what is missing"},
		{inFrame("seen", `{"since":"`+strings.Repeat("x", 41)+`"}`), "since has at most 40 characters"},
	} {
		_, err := Decode([]byte(c.in))
		if err == nil {
			t.Errorf("%.200s is taken", c.in)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.200s\n says %q\n want %q", c.in, err, c.want)
		}
		if bad := badLine(err.Error()); bad != "" {
			t.Errorf("%.200s\n says %q: %s", c.in, err, bad)
		}
	}
}

// badLine says what is wrong with a line meant for a person.
func badLine(s string) string {
	switch {
	case s == "":
		return "it is empty"
	case !utf8.ValidString(s):
		return "it is not UTF-8"
	case utf8.RuneCountInString(s) > words.MostRefusal:
		return fmt.Sprintf("it has %d characters", utf8.RuneCountInString(s))
	}
	for _, r := range s {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return fmt.Sprintf("it holds %U", r)
		}
	}
	return ""
}

// The limits themselves are taken.
func TestAtTheLimits(t *testing.T) {
	for _, in := range []string{
		`{"id":"` + strings.Repeat("x", 64) + `","at":"2026-11-25T14:07:32+01:00","act":"press-open","body":{"flask":1000000000}}`,
		`{"id":"x","at":"1990-01-01T00:00:00Z","by":"ŁŁŁŁŁŁŁŁ","act":"press-open","body":{"flask":1}}`,
		`{"id":"x","at":"2200-12-31T23:59:59.999999999Z","act":"press-open","body":{"flask":1}}`,
		`{"id":"x","at":"2026-11-25T14:07:32+01:00","why":"` + strings.Repeat("é", 200) + `","act":"press-open","body":{"flask":1}}`,
		inFrame("mix", `{"flasks":[1,2,3,4,5,6,7,8,9],"powder_g":0.1,"liquid_g":5000,"room_c":5,"jar_c":-30,"work_s":1209600}`),
		inFrame("flask-open", `{"place":9,"case":"`+strings.Repeat("é", 24)+`","base":"upper","size":"small"}`),
		inFrame("coat", `{"flask":3,"half":"both","dry_min_s":600,"dry_max_s":600}`),
		inFrame("remount", `{"flask":3,"pin_mm":20}`),
		inFrame("alarm-shelve", `{"alarm":"k","for_s":86400}`),
		inFrame("press-at", `{"flask":3,"pressure_psi":1,"hold_s":0}`),
		inFrame("bath-reading", `{"bath":1,"temp_c":0}`),
		inFrame("timer-start", `{"label":"x","count":"window","min_s":60,"aim_s":60,"max_s":60}`),
		"  " + inFrame("press-open", ` { "flask" : 3 } `) + "\n",
	} {
		if _, err := Decode([]byte(in)); err != nil {
			t.Errorf("%.120s: %v", in, err)
		}
	}
}

func TestSubjects(t *testing.T) {
	for k, want := range map[Kind]string{
		"flask-open": "[f3]", "mix": "[f3 f5 m4]", "mix-serve": "[f6 m4]", "mix-dough": "[m4]", "flash": "[f3]", "bath-load": "[f3 f5 l2]",
		"bath-unload": "[f3 f5]", "outcome": "[f3]", "note": "[f3]", "timer-start": "[t5]", "bath-reading": "[]", "correct": "[]", "settings": "[]",
	} {
		if got := fmt.Sprint(samples()[k][0].Subjects()); got != want {
			t.Errorf("%s is about %s, want %s", k, got, want)
		}
	}
	if got := fmt.Sprint((Note{Mix: 4, Text: "x"}).Subjects(), (Note{Load: 2, Text: "x"}).Subjects()); got != "[m4] [l2]" {
		t.Errorf("notes are about %s", got)
	}
}

func TestReasonWords(t *testing.T) {
	for why, want := range map[string]string{"1": "checked, looked right", "9": "other", "0": "0", "": "", "12": "12", "phoned the dentist": "phoned the dentist"} {
		if got := words.Reason(why); got != want {
			t.Errorf("reason %q reads %q, want %q", why, got, want)
		}
	}
	if len(words.Reasons) != 10 {
		t.Errorf("%d reasons: the keys are 1 to 9", len(words.Reasons)-1)
	}
}
