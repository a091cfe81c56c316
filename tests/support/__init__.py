"""What tests share: rigs of a few lines, terminals, outcomes made by hand, small worlds."""
