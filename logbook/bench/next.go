package bench

// Step is something that can be done to a flask.
type Step string

// The steps of the route.
const (
	DoCoat    Step = "coat"           // paint separator on a half
	DoMix     Step = "mix"            // make a mix, or take one that stands
	DoDough   Step = "dough"          // mark the dough reached
	DoPress   Step = "press"          // pack, sheet, into the press
	DoReach   Step = "reach"          // pressure reached
	DoOpen    Step = "open"           // open the press
	DoJudge   Step = "judge"          // judge the flash
	DoFinal   Step = "final"          // sheet out, for the last time
	DoMetal   Step = "metal to metal" // close without the sheet
	DoClamp   Step = "clamp"          // clamp and back off
	DoLoad    Step = "load"           // into the bath
	DoUnload  Step = "unload"         // out of the bath
	DoWater   Step = "water"          // into tap water
	DoDeflask Step = "deflask"
	DoRemount Step = "remount"
	DoOutcome Step = "outcome"
)
