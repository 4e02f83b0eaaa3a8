"""The embedded bench: motors with defects behind real SCPI sockets."""
