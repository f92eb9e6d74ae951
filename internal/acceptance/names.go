package acceptance

func nameChecks() []Check { return nil }
