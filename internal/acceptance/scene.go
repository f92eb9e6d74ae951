package acceptance

func sceneChecks() []Check { return nil }
