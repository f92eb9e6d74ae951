package acceptance

func fileChecks() []Check { return nil }
