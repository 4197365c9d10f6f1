"""What the shop hands out: papers as pages and as PDF, and where they are found."""

from packs.pages.papers.links import PaperLink, VisitPapers, of_pack, of_visit

__all__ = ["PaperLink", "VisitPapers", "of_pack", "of_visit"]
