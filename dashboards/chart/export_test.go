package chart

// Samples are all charts, for tests from outside the package.
func Samples() map[string]maker { return makers }
