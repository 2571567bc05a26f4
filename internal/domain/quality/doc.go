// Package quality answers whether what a reading was made with can be trusted: meters, their
// controls, the lots of kits, and the measurement as a whole. It never judges a scope.
//
// To know first: a [Control] is one reading of something known, a [Target] is what it should show.
// [Verdicts] judges the controls of one meter run by run, with limits and with the multi-rules that
// [Rules] switches on; [Suspects] names the readings that a failed check throws doubt on, and
// [Policy.State] says whether the meter may be used now. A new lot or meter is compared with the
// old one by [Plan.Paired], or by [Plan.Unpaired] where the same sample cannot be read twice. A
// [Study] of parts, appraisers and repeats tells how much of the spread is the measurement itself.
//
// Relative light units count on a scale of their own for each meter system and kit. Nothing here
// converts one into another: a ratio is shown only as evidence on whether a level may stay.
// Spread and ratios are judged on log10, because the standard deviation of single readings grows
// with the mean, up to half of it (Whiteley et al., Infect Control Hosp Epidemiol 2015;36:658-663).
package quality
