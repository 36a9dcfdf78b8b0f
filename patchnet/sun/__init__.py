"""Sun room: from the heights of what stands about to hours of sun on each plot."""
