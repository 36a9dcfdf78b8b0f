"""Sun: from the heights of what stands nearby to hours of sun on each plot."""
