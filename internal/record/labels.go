package record

// labels are the words for fields, by the type and the name in JSON, or by the
// name alone where all types mean the same by it.
var labels = map[string]string{
	"scope": "scope", "at": "at", "by": "by", "name": "name", "kind": "kind", "risk": "risk class", "elevator": "elevator", "outer_diameter_mm": "outer diameter",
	"sampled_length_mm": "sampled length", "channels": "channels", "points": "sampling points", "instructions": "instructions",
	"diameter_mm": "inner diameter", "length_mm": "length", "port": "port", "brushable": "can be brushed", "flushable": "can be flushed",
	"sealed": "sealed", "cleaning": "cleaned by", "routine": "in every cleaning verification",

	"tag": "tag", "serial": "serial number", "barcode": "barcode", "model": "model", "owner": "owner", "location": "place",
	"in_service": "in service since", "retired": "out of service since",

	"code": "code", "system": "meter system", "kit": "kit", "lot": "lot", "expires": "must not be used from", "recalled": "recalled since",
	"cleared": "recall taken back with",

	"meter": "meter", "material": "material", "low": "lower limit", "high": "upper limit", "mean_log10": "mean of log10(RLU+1)",
	"sd_log10": "standard deviation of log10(RLU+1)", "runs": "own runs", "source": "source", "edition": "edition",
	"adopted_by": "adopted by", "adopted": "adopted",

	"Level.point": "sampling point", "Level.kind": "kind of scope", "Level.analyte": "residue test", "Level.unit": "unit", "Level.alert": "alert level",
	"Level.action": "action level", "Level.comparison": "exceeded by a value", "Level.cv": "coefficient of variation", "Level.dirty": "counts as dirty",
	"Level.clean": "counts as clean", "Level.second": "second person", "Model.second": "second person", "Instrument.second": "second person",
	"Target.second": "second person", "Meter.second": "second person",

	"note": "note", "sampling": "", "reading": "cleaning verifications", "reprocessing": "", "meters": "checks of meters",
	"clocks": "", "limits": "clocks", "shake": "shortest shaking", "protocols": "protocols", "models": "models", "due": "when cleaning verifications " +
		"are due", "selection": "random selection",
	"method": "method", "from": "counted from", "to": "counted to", "within": "within", "capped_within": "within, container closed",
	"at_hand": "at hand", "acts": "acts", "do": "do", "medium": "medium", "volume_ml": "volume", "Act.length_mm": "length covered", "at_most_mm": "tubing at most",
	"lasts": "lasts", "discard": "discard what comes out", "invalid": "void if",
	"when": "occasion", "kinds": "kinds", "uses": "every so many uses", "days": "days", "Rule.days": "every so many days",
	"blocks":   "keeps the release check shut",
	"per_kind": "of each kind", "per_process": "of each process", "every_days": "at the latest after days", "size": "at least in all",
	"cleanings": "cleanings and tests in a cycle", "retest": "sampled again", "combine": "readings combined",
	"duplicate_near_level": "second reading near a level", "recovery": "recovery",
	"steps": "steps", "step": "step", "required": "required", "at_least": "lasts at least", "after_fail": "after a failure it counts again only after",
	"at_most": "lasts at most", "starts": "asked for from", "kept_in": "kept elsewhere, in", "kept_by": "signed elsewhere by",
	"kept_review": "kept elsewhere, reviewed by",
	"routes":      "what is asked for when", "after": "after",
	"on_late": "when it is late", "on_fail": "when it fails",
	"cabinets": "cabinets", "hours": "hours", "disinfectants": "disinfectants", "contact": "contact time", "coldest_cel": "at least at",
	"warmest_cel": "at most at",
	"mec":         "concentration checked", "reuse_days": "used for days", "unstored": "outside a cabinet for", "unstored_source": "outside a cabinet",
	"rules": "", "use": "rules in use", "warning_first": "warning first", "across_levels": "across levels", "Rules.required": "controls that are needed",
	"holds": "", "every": "a check holds for", "same_day": "a check holds to the end of the day",
	"citation": "citation", "verified": "verified", "verified_by": "verified by", "verified_in": "verified in",
}

// Label returns the words for a field of a type, ok = false when it has none.
func Label(typ, name string) (words string, ok bool) {
	if l, ok := labels[typ+"."+name]; ok {
		return l, true
	}
	l, ok := labels[name]
	return l, ok
}
