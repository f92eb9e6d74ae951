package acceptance

func uvChecks() []Check { return nil }
