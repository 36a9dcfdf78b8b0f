"""Core room: errors, faults, files, tables and the choice of compiled or plain kernels."""
