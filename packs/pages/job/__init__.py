"""The pages of a job on a visit: from arrival to release, one step a page."""
