"""Making a hookup safe: cautions, confirmations, interlock, first power."""
