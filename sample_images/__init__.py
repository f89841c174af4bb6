"""The demo snuff box: computed photographs of three stones of one lid."""
