"""Plans: what one plot should add, for one householder."""
