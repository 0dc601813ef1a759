package benchtest

import (
	"encoding/json"
	"fmt"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/route"
	"flaskside/timers"
)

// Draw draws something that may be done at a bench: most often the next step of a
// flask at work, else anything, in or out of order, possible or not. old are ids of
// records, for corrections and takings back.
func Draw(t *rapid.T, b *bench.Bench, now timers.Now, old []string) action.Body {
	d := drawer{t, b, now, old}
	what := rapid.SampledFrom([]string{
		"next", "next", "next", "next", "next", "next", "next", "next", "next", "next", "open", "open", "open", "move", "mix", "serve", "dough", "stiff",
		"press", "flash", "more", "add", "inspect", "load", "unload", "deflask", "outcome", "outcome", "note", "timer", "timer", "stop", "heard", "heard",
		"shelve", "correct", "correct", "correct", "back", "back", "back", "house", "crew", "caution", "clock", "seen", "screen", "reading",
		"lot in", "lot in", "lot out", "piece in", "piece in", "piece in", "check", "check", "water", "piece out", "case in", "case in", "open", "case off", "delivered", "plan", "plan", "step", "step", "step", "any step", "pressure",
	}).Draw(t, "what")
	return d.body(what)
}

type drawer struct {
	t   *rapid.T
	b   *bench.Bench
	now timers.Now
	old []string
}

func (d drawer) int(name string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(d.t, name) }

// flask draws a flask at work, now and then one that is not there.
func (d drawer) flask() int {
	var at []int
	for f := range d.b.AtWork() {
		at = append(at, f.No)
	}
	if len(at) == 0 || d.int("stray", 0, 19) == 0 {
		return d.int("flask", 1, d.b.Top.Flask+1)
	}
	return rapid.SampledFrom(at).Draw(d.t, "flask")
}

// flasks draws one to three flasks, all different.
func (d drawer) flasks() []int {
	var out []int
	seen := map[int]bool{}
	for range d.int("flasks", 1, 3) {
		if n := d.flask(); !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}

// load draws a load, as a rule one that frees the places of its flasks.
func (d drawer) load() action.Body {
	return action.BathLoad{Flasks: d.flasks(), Programme: d.b.House.Programmes[0].Name, OffPlace: d.int("off place", 0, 3) > 0}
}

func one[T any](d drawer, vs ...T) T { return rapid.SampledFrom(vs).Draw(d.t, "one") }

func (d drawer) next(n int) action.Body {
	f := d.b.Flasks[n]
	if f == nil {
		return action.Inspect{Flask: n}
	}
	switch d.b.Next(f, d.now) {
	case bench.DoCoat:
		return action.Coat{Flask: n, Half: one(d, action.Halves...)}
	case bench.DoMix:
		return action.MixMake{Flasks: d.flasks(), PowderLot: d.lot()}
	case bench.DoDough:
		return action.MixDough{Mix: f.Mix}
	case bench.DoPress:
		return action.PressIn{Flask: n, Added: d.int("added", 0, 9) == 0}
	case bench.DoReach:
		return action.PressAt{Flask: n}
	case bench.DoOpen:
		return action.PressOpen{Flask: n}
	case bench.DoJudge:
		return action.Flash{Flask: n, Grade: one(d, action.Grades...)}
	case bench.DoFinal:
		return action.SheetOut{Flask: n}
	case bench.DoMetal:
		return action.MetalToMetal{Flask: n}
	case bench.DoClamp:
		return action.Clamp{Flask: n, Clamp: one(d, "", "", "C1", "c2")}
	case bench.DoLoad:
		return d.load()
	case bench.DoUnload:
		return action.BathUnload{Flasks: []int{n}}
	case bench.DoWater:
		return action.CoolWater{Flasks: []int{n}}
	case bench.DoDeflask:
		return action.Deflask{Flasks: []int{n}}
	case bench.DoRemount:
		return action.Remount{Flask: n, PinMM: float64(d.int("pin", 0, 20)) / 10}
	}
	return action.Outcome{Flask: n, Outcome: one(d, action.Outcomes...)}
}

func (d drawer) body(what string) action.Body {
	b := d.b
	switch what {
	case "next":
		return d.next(d.flask())
	case "open":
		place := b.FreePlace()
		if place == 0 || d.int("any place", 0, 3) == 0 {
			place = d.int("place", 1, 9)
		}
		return action.FlaskOpen{Place: place, Case: d.caseNumber(), Base: one(d, action.Bases...), Size: one(d, action.Sizes...), Tag: one(d, "", "", "F1", "f2")}
	case "move":
		return action.FlaskMove{Flask: d.flask(), Place: d.int("place", 1, 9)}
	case "mix":
		return action.MixMake{Flasks: d.flasks()}
	case "serve":
		return action.MixServe{Mix: d.int("mix", 1, b.Top.Mix+1), Flasks: d.flasks()}
	case "dough":
		return action.MixDough{Mix: d.int("mix", 1, b.Top.Mix+1)}
	case "stiff":
		return action.MixStiff{Mix: d.int("mix", 1, b.Top.Mix+1)}
	case "press":
		return one[action.Body](d, action.PressIn{Flask: d.flask()}, action.PressAt{Flask: d.flask(), PressurePSI: 2500}, action.PressOpen{Flask: d.flask()})
	case "flash":
		return action.Flash{Flask: d.flask(), Grade: one(d, action.Grades...), Grams: float64(d.int("grams", 0, 5))}
	case "more":
		return action.FlashMore{Flask: d.flask(), Grams: 1.5, Where: []string{"labial"}}
	case "add":
		return action.DoughAdd{Flask: d.flask()}
	case "inspect":
		return action.Inspect{Flask: d.flask()}
	case "load":
		return d.load()
	case "unload":
		return action.BathUnload{Flasks: d.flasks()}
	case "deflask":
		return action.Deflask{Flasks: d.flasks()}
	case "outcome":
		return action.Outcome{Flask: d.flask(), Outcome: one(d, action.Outcomes...), Defects: []string{"porosity"}}
	case "note":
		return one[action.Body](d, action.Note{Flask: d.flask(), Text: "dull"}, action.Note{Mix: d.int("mix", 1, b.Top.Mix+1), Text: "lumpy"}, action.Note{Load: d.int("load", 1, b.Top.Load+1), Text: "lid open"})
	case "timer":
		return one[action.Body](d, action.TimerStart{Label: "pumice", Count: "up"}, action.TimerStart{Label: "plaster", Count: "down", AimS: 600}, action.TimerStart{Label: "wax", Count: "window", MinS: 60, AimS: 120, MaxS: 900})
	case "stop":
		return action.TimerStop{Timer: d.int("timer", 1, b.Top.Timer+1)}
	case "heard":
		return action.AlarmHeard{Alarm: d.alarm()}
	case "shelve":
		return action.AlarmShelve{Alarm: d.alarm(), ForS: d.int("shelf", 10, 3600)}
	case "correct":
		return d.correct()
	case "back":
		return action.TakeBack{Of: d.id()}
	case "house":
		h := house.Default()
		h.Separator.DryMinS, h.Press.HoldS = d.int("dry", 0, 1200), d.int("hold", 30, 120)
		h.Routes = d.routes()
		return action.Settings{House: h, From: "typed"}
	case "crew":
		return action.Crew{Initials: one(d, "KT", "AB", "Ł"), Handover: rapid.Bool().Draw(d.t, "handover")}
	case "caution":
		return action.Caution{Hazard: one(d, action.Hazards...)}
	case "clock":
		return action.ClockEvent{What: string(timers.Slept), ByS: d.int("slept", 1, 9999)}
	case "seen":
		return action.Seen{}
	case "screen":
		return action.Screen{What: one(d, action.Joined, action.Left), Role: one(d, action.Roles...)}
	case "lot in":
		return action.LotIn{Material: one(d, action.Powder, action.Stone), Lot: "P-" + fmt.Sprint(d.int("lot", 1, 9)), Expiry: one(d, "", "2026-11-25", "2031-01-31")}
	case "lot out":
		return action.LotOut{Material: one(d, action.Powder, action.Stone), Lot: "P-" + fmt.Sprint(d.int("lot", 1, 9)), Reason: one(d, action.Withdrawals...)}
	}
	if piece := d.equipment(what); piece != nil {
		return piece
	}
	switch what {
	case "case in":
		return action.CaseIn{Case: d.caseNumber(), Base: one(d, action.Bases...), Size: one(d, action.Sizes...), Due: d.now.Wall.Add(time.Duration(d.int("due", -1, 48)) * time.Hour).Format(time.RFC3339), Rush: d.int("rush", 0, 3) == 0, Route: one(d, "", route.Packed, route.Pot, route.Pot, route.Injected, "none such")}
	case "step":
		return d.step(false)
	case "any step":
		return d.step(true)
	case "pressure":
		return d.pressure()
	case "case off":
		return action.CaseOff{Case: d.caseNumber(), Base: one(d, action.Bases...), Reason: "withdrawn"}
	case "plan":
		return d.plan()
	case "delivered":
		return action.CaseDelivered{Case: d.caseNumber(), Base: one(d, action.Bases...), Done: []string{one(d, action.Closing...)}}
	}
	// As the programmes drawn want it: the alarm of a bath out of band is forgotten
	// with its readings, some time after the load.
	return action.BathReading{Bath: 1, TempC: b.House.Programmes[0].Stages[0].TempC, Source: bench.Typed}
}

// caseNumber draws a case number, most often one of a few, so that the same case comes back.
func (d drawer) caseNumber() string {
	if d.int("of few", 0, 3) > 0 {
		return fmt.Sprint(d.int("case", 1, 4))
	}
	return fmt.Sprint(d.int("case", 1, 9999))
}

// lot draws a lot of powder as it is typed, most often none.
func (d drawer) lot() string {
	if n := d.int("powder lot", 0, 20); n < 10 && n > 0 {
		return "P-" + fmt.Sprint(n)
	}
	return ""
}

func (d drawer) alarm() string {
	als := d.b.Alarms(d.now)
	if len(als) == 0 {
		return "timer/1/own#aim"
	}
	return als[d.int("alarm", 0, len(als)-1)].Key
}

// id draws the id of a record, one of the latest as a rule.
func (d drawer) id() string {
	if len(d.old) == 0 || d.int("no id", 0, 29) == 0 {
		return "none such"
	}
	lo := 0
	if d.int("late", 0, 3) > 0 {
		lo = max(0, len(d.old)-8)
	}
	return d.old[d.int("id", lo, len(d.old)-1)]
}

// correct draws a correction that fits the record it names, as a rule.
func (d drawer) correct() action.Body {
	id := d.id()
	set := func(s string) action.Body { return action.Correct{Of: id, Set: json.RawMessage(s)} }
	it, ok := d.b.Item(id)
	if !ok || d.int("time", 0, 3) == 0 {
		at := d.now.Wall.Add(-time.Duration(d.int("ago", 0, 600)) * time.Second)
		if ok {
			at = it.Stamp.At.Add(time.Duration(d.int("shift", -60, 60)) * time.Second)
		}
		return set(fmt.Sprintf(`{"at":%q}`, at.Format(time.RFC3339Nano)))
	}
	switch it.Body.(type) {
	case action.Flash:
		return set(fmt.Sprintf(`{"grade":%q}`, one(d, action.Grades...)))
	case action.PressAt:
		return set(fmt.Sprintf(`{"pressure_psi":%d}`, d.int("psi", 1000, 4000)))
	case action.Coat:
		return set(fmt.Sprintf(`{"dry_min_s":%d}`, d.int("dry", 0, 900)))
	case action.MixMake:
		return set(fmt.Sprintf(`{"dough_s":%d,"work_s":%d}`, d.int("dough", 60, 900), d.int("work", 1000, 4000)))
	case action.FlaskOpen:
		return set(fmt.Sprintf(`{"case":%q,"base":%q}`, d.caseNumber(), one(d, action.Bases...)))
	case action.CaseIn:
		if d.int("route", 0, 2) == 0 {
			return set(fmt.Sprintf(`{"route":%q}`, one(d, "", route.Packed, route.Pot, route.Injected)))
		}
		return set(fmt.Sprintf(`{"size":%q,"rush":true}`, one(d, action.Sizes...)))
	case action.CaseStep:
		return set(one(d, `{"min_s":120}`, `{"max_s":86400}`, `{"judged":"clean"}`, `{"step":"polish"}`))
	case action.Clamp:
		return set(`{"bench_min_s":600,"bench_max_s":0}`)
	case action.TimerStart:
		return set(`{"label":"corrected"}`)
	case action.Outcome:
		return set(`{"outcome":"remake"}`)
	case action.Note:
		return set(`{"text":"corrected"}`)
	case action.EquipIn:
		return set(one(d, `{"product":"old"}`, `{"every_days":10}`, `{"name":"T9"}`))
	case action.EquipCheck:
		return set(one(d, `{"due":"2026-12-01"}`, `{"ice_c":0}`, `{"ice_c":4}`))
	case action.BathLoad:
		return set(one(d, `{"max_s":86400}`, `{"doubts":[]}`))
	case action.LotIn:
		return set(fmt.Sprintf(`{"lot":"P-%d","expiry":"2030-06-30"}`, d.int("lot", 1, 9)))
	case action.LotOut:
		return set(fmt.Sprintf(`{"reason":%q}`, one(d, action.Withdrawals...)))
	}
	return set(`{"flask":1}`)
}

// plan draws a plan of the day for some of the cases on the list, or puts one away.
func (d drawer) plan() action.Body {
	at := func(h int) string { return d.now.Wall.Add(time.Duration(h) * time.Hour).Format(time.RFC3339) }
	p := action.DayPlan{Day: d.now.Wall.Format(time.DateOnly), People: d.int("people", 1, 2), Presses: 1, GateMin: 8}
	if d.int("away", 0, 3) == 0 {
		return action.DayPlan{Day: p.Day, Away: true}
	}
	for _, k := range d.b.Cases() {
		if len(p.Cases) < 6 {
			p.Mixes = append(p.Mixes, action.PlanMix{Cases: []string{k.Name()}, At: at(1), Latest: at(3)})
			p.Loads = append(p.Loads, action.PlanLoad{Bath: d.b.House.Baths[0].Name, Programme: d.b.House.Programmes[0].Name, Cases: []string{k.Name()}, In: at(5), Latest: at(9), Out: at(20)})
			p.Cases = append(p.Cases, action.PlanCase{Case: k.Name(), Finished: at(22), LatePercent: 5})
		}
	}
	return p
}

// equipment draws something of the register of equipment: few pieces, so that the same come
// back.
func (d drawer) equipment(what string) action.Body {
	thermometer := one(d, "T1", "T2", "t1")
	switch what {
	case "piece in":
		return one[action.Body](d, action.EquipIn{Item: action.Thermometer, Name: thermometer, On: one(d, "", "bath 1", "bath 2"), EveryDays: d.int("every", 0, 3)},
			action.EquipIn{Item: action.Gauge, Name: "G1", On: one(d, "press 1", "pot A"), ScalePSI: one(d, 0.0, 5000)}, action.EquipIn{Item: action.Bath, Name: "1"}, action.EquipIn{Item: action.Press, Name: "1", RatedPSI: one(d, 0.0, 2900, 6000)},
			action.EquipIn{Item: action.ClampItem, Name: one(d, "C1", "C2"), RatedPSI: one(d, 0.0, 2500, 5000)}, action.EquipIn{Item: action.FlaskMetal, Name: one(d, "F1", "F2", "1"), RatedPSI: one(d, 0.0, 3500)})
	case "check":
		ice, at, read := float64(d.int("ice", -3, 3))/2, 3000.0, float64(d.int("psi", 2800, 3200))
		return one[action.Body](d, action.EquipCheck{Item: action.Thermometer, Name: thermometer, IceC: &ice, Due: one(d, "", "", "2026-11-25", "2027-01-31")}, action.EquipCheck{Item: action.Gauge, Name: "G1", ReadPSI: &read, AgainstPSI: &at})
	case "water":
		return action.EquipWater{Item: action.Bath, Name: "1"}
	case "piece out":
		return one[action.Body](d, action.EquipOut{Item: action.Thermometer, Name: thermometer, Reason: one(d, action.EquipmentOut...)}, action.EquipOut{Item: action.ClampItem, Name: one(d, "C1", "C2"), Reason: one(d, action.EquipmentOut...)},
			action.EquipOut{Item: action.Bath, Name: "1", Reason: one(d, action.EquipmentOut...)})
	}
	return nil
}

// routes draws routes of a house: some steps switched on or off, with other times.
func (d drawer) routes() []route.Route {
	var out []route.Route
	for _, r := range house.Default().RouteTables() {
		if d.int("own", 0, 2) > 0 {
			continue
		}
		r.Off = d.int("off", 0, 4) == 0
		steps := make([]route.Step, len(r.Steps))
		for i, s := range r.Steps {
			if d.int("switch", 0, 2) == 0 {
				s.Off = !s.Off
			}
			if s.Kind.Timed() && d.int("time", 0, 2) == 0 {
				s.MinS, s.AimS, s.MaxS = d.int("min", 1, 600), 0, 0
			}
			steps[i] = s
		}
		r.Steps = steps
		out = append(out, r)
	}
	return out
}

// step draws a step of a case: the next one, or any.
func (d drawer) step(any bool) action.Body {
	ks := d.b.Cases()
	if len(ks) == 0 {
		return action.CaseStep{Case: d.caseNumber(), Base: one(d, action.Bases...), Step: "cap"}
	}
	k := one(d, ks...)
	r, _ := d.b.House.Route(k.Route)
	s, ok := d.b.NextOfCase(k)
	if (any || !ok) && len(r.Steps) > 0 {
		s = one(d, r.Steps...)
	}
	switch {
	case s.Name == "":
		s.Name = "cap"
	case s.Kind == route.Deliver:
		return action.CaseDelivered{Case: k.Case, Base: k.Base, Done: action.Closing, WetH: 24}
	case s.Kind == route.Flask && k.Flask == 0:
		place := d.b.FreePlace()
		return action.FlaskOpen{Place: max(1, place), Case: k.Case, Base: k.Base, Size: k.Size}
	}
	a := action.CaseStep{Case: k.Case, Base: k.Base, Step: s.Name}
	if s.Kind == route.Check {
		a.Judged = one(d, append(append([]string{}, s.Good...), s.Bad...)...)
	}
	for _, f := range s.Fields {
		if f.Preset == "" || d.int("typed", 0, 2) == 0 {
			a.Values = append(a.Values, action.StepValue{Name: f.Name, Value: float64(d.int("value", 0, 90))})
		}
	}
	return a
}

// pressure draws that a pressure was lost or is back.
func (d drawer) pressure() action.Body {
	for _, k := range d.b.Cases() {
		if run := k.Running(); run != nil && run.Pressure {
			return action.CaseStep{Case: k.Case, Base: k.Base, Step: run.Step, Event: one(d, action.PressureLost, action.PressureBack)}
		}
	}
	return d.step(true)
}
