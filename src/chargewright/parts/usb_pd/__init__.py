"""USB Power Delivery on the wire and USB Type-C advertisement: words, power rule, timers, pull-ups."""
