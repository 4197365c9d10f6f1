"""What is measured on a page: the rules of axe, its width, its targets, its focus."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

# WCAG 2.2, levels A and AA, and what axe holds to be good practice.
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice")
OF_COLOUR = ("color-contrast",)  # the only rule that another colour scheme can break
NARROWEST_PX = 320  # WCAG 2.2, success criterion 1.4.10: nothing scrolls sideways even there
TARGET_PX = 24  # WCAG 2.2, success criterion 2.5.8

# Links are left to axe, which knows of sentences and of the space around a target.
SMALL_CONTROLS = """least => {
  const controls = "button, input:not([type=hidden]), select, textarea, summary, [role=button]";
  return [...document.querySelectorAll(controls)].flatMap(control => {
    const box = control.getBoundingClientRect();
    const label = control.labels?.[0]?.getBoundingClientRect();
    const ticked = control.type === "checkbox" || control.type === "radio";
    const height = ticked && label ? Math.max(box.height, label.height) : box.height;
    const width = ticked && label ? Math.max(box.width, label.width) : box.width;
    const seen = control.checkVisibility() && box.width > 1;
    const fits = width + 0.5 >= least && height + 0.5 >= least;
    return seen && !fits ? [`${control.outerHTML.slice(0, 80)}: ${width} x ${height}`] : [];
  });
}"""

TOO_WIDE = """() => {
  const root = document.documentElement;
  if (root.scrollWidth <= root.clientWidth) return [];
  const beyond = [...document.body.querySelectorAll("*")].filter(
    part => part.getBoundingClientRect().right > root.clientWidth + 1);
  const shown = beyond.slice(-3).map(part => part.outerHTML.slice(0, 80));
  return [`${root.scrollWidth} px wide in ${root.clientWidth}: ${shown.join(" | ")}`];
}"""

UNSEEN_FOCUS = """() => {
  const reached = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  return [...document.querySelectorAll(reached)].flatMap(part => {
    if (!part.checkVisibility() || part.disabled) return [];
    part.focus();
    const style = getComputedStyle(part);
    const own = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    const outlined = own || style.outlineStyle === "auto";
    const box = part.getBoundingClientRect();
    const there = box.width > 0 && box.left >= 0 && box.right <= innerWidth + 1;
    return document.activeElement === part && outlined && there
      ? [] : [`${part.outerHTML.slice(0, 80)}: focus is not seen`];
  });
}"""


# Pictures below the fold come when they are scrolled to, and have no size before.
ALL_PICTURES = """async () => {
  for (const picture of document.images) {
    picture.loading = "eager";
    await picture.decode().catch(() => {});
  }
}"""


@dataclass(frozen=True)
class Violation:
    """A rule of axe that a page breaks."""

    impact: str
    rule: str
    target: str

    def __str__(self) -> str:
        return f"{self.impact}: {self.rule} at {self.target}"


def violations(page: Page, only: Sequence[str] = TAGS) -> list[Violation]:
    """Every rule of those tags, or of those names, that the page breaks, with each place."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found: list[dict[str, Any]] = page.evaluate(
        "async rules => (await axe.run(document, rules)).violations",
        {"resultTypes": ["violations"], "runOnly": list(only)},
    )
    return [
        Violation(str(rule["impact"]), str(rule["id"]), f"{node['target']} {node['html'][:80]}")
        for rule in found
        for node in rule["nodes"]
    ]


def load_pictures(page: Page) -> None:
    page.evaluate(ALL_PICTURES)


def too_wide(page: Page) -> list[str]:
    """What makes the page scroll sideways."""
    found: list[str] = page.evaluate(TOO_WIDE)
    return found


def small_controls(page: Page) -> list[str]:
    """Controls below TARGET_PX either way."""
    found: list[str] = page.evaluate(SMALL_CONTROLS, TARGET_PX)
    return found


def unseen_focus(page: Page) -> list[str]:
    """What does not show that it has the focus, once the keyboard is in use."""
    page.keyboard.press("Tab")
    found: list[str] = page.evaluate(UNSEEN_FOCUS)
    return found
