"""Events counted while harness and plugs are moved."""
