"""The commands of `ampledger`, one file each."""
