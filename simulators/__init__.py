"""A virtual rig on the wire: physics apart from dialects apart from ports. Imports nothing else of ours."""
