"""Plan room: what one plot should add, for one householder."""
