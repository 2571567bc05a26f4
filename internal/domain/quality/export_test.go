package quality

// EquivalencePower opens the power of the two one-sided tests to tests, because published values
// are for a design with other degrees of freedom than the exported functions have.
var EquivalencePower = equivalencePower
