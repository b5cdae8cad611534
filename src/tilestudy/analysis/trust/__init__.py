"""How far a model can be trusted: tiles that lie off or carry a finding alone, fit, scatter, and unreplicated plans."""
