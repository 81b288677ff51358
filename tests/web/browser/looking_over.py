"""What is measured on a page in the browser: by axe-core, by size, by the Tab key."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Page

HOW_TO_GET_IT = "needs axe-core: “pip install axe-core-python”"

_CONTROLS = """
const shown = one => {
  const box = one.getBoundingClientRect(), style = getComputedStyle(one);
  return box.width > 0 && box.height > 0 && style.visibility !== "hidden" &&
    !one.closest("[inert]") && !one.matches(".skip, .unseen") && one.checkVisibility();
};
const inText = one => one.matches("a") && getComputedStyle(one).display === "inline";
"""


@cache
def axe_source() -> str | None:
    """axe-core itself, from the package; None without it."""
    found = find_spec("axe_core_python")
    if found is None or found.origin is None:
        return None
    return (Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8")


def violations(page: Page, rules: list[str] | None = None) -> list[str]:
    """Serious and critical ones, each with where; ``rules``: these alone."""
    if page.evaluate("typeof window.axe") == "undefined":
        page.evaluate(f"() => {{ {axe_source()} }}")
    only = {"runOnly": {"type": "rule", "values": rules}} if rules else {}
    found: dict[str, Any] = page.evaluate(
        "options => axe.run(document, options)",
        {"resultTypes": ["violations"], "elementRef": False, **only},
    )
    return [
        f"{one['id']}: {node['target'][0]}: {node['failureSummary'].splitlines()[-1].strip()}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


def too_small(page: Page, least: int) -> list[str]:
    """Controls below ``least`` px either way. Links within a text are part of the text."""
    found: list[str] = page.evaluate(
        """least => {"""
        + _CONTROLS
        + """
        const all = document.querySelectorAll(
          "main button, main select, main textarea, main summary, main label.choice, main a[href], "
          + "main input:not([type=hidden]), header button, header a[href], header input");
        return [...all].filter(one => shown(one) && !inText(one) && !one.closest("label.choice") ||
                                       one.matches("label.choice") && shown(one))
          .filter(one => {
            const box = one.getBoundingClientRect();
            return box.height < least - 0.5 || box.width < least - 0.5;
          })
          .map(one => `${one.tagName.toLowerCase()}.${one.className} "${one.innerText ?? ""}" ` +
            `${Math.round(one.getBoundingClientRect().width)} x ` +
            `${Math.round(one.getBoundingClientRect().height)}`);
        }""",
        least,
    )
    return found


def wider_than_the_screen(page: Page) -> list[str]:
    """What makes the page scroll sideways; empty when nothing does."""
    found: list[str] = page.evaluate(
        """() => {
          const width = document.documentElement.clientWidth;
          if (document.documentElement.scrollWidth <= width) return [];
          return [...document.querySelectorAll("body *")]
            .filter(one => one.getBoundingClientRect().right > width + 0.5)
            .slice(0, 6).map(one => `${one.tagName.toLowerCase()}.${one.className} #${one.id}`)
            .concat(`${document.documentElement.scrollWidth} px`);
        }"""
    )
    return found


def walk(page: Page, most: int = 120) -> tuple[list[str], list[str]]:
    """What the Tab key reaches, in turn, and what it ought to; unseen focus is told in the first.

    A group of radio buttons is one stop.
    """
    page.evaluate(
        """() => { document.body.tabIndex = -1; document.body.focus();
                   document.body.removeAttribute("tabindex"); window.scrollTo(0, 0); }"""
    )
    expected: list[str] = page.evaluate(
        """() => {"""
        + _CONTROLS
        + """
        const seen = new Set(), radios = new Set();
        let count = 0;
        return [...document.querySelectorAll(
            "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
          .filter(one => !one.disabled && one.tabIndex >= 0 &&
                         (shown(one) || one.matches(".skip")))
          .filter(one => {
            if (one.type !== "radio") return true;
            const group = (one.form?.action ?? "") + one.name;
            const checked = document.querySelector(`input[name="${one.name}"]:checked`);
            if (radios.has(group) || checked && checked !== one) return false;
            radios.add(group); return true;
          })
          .map(one => { one.dataset.stop = String(++count); return one.dataset.stop; });
        }"""
    )
    reached: list[str] = []
    for _ in range(min(most, len(expected) + 3)):
        page.keyboard.press("Tab")
        stop: str = page.evaluate(
            """() => {
              const one = document.activeElement;
              if (!one || one === document.body) return "";
              const style = getComputedStyle(one);
              const ring = one.closest("label.choice");
              const seen = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0 ||
                ring && getComputedStyle(ring).outlineStyle !== "none" || style.boxShadow !== "none";
              return (one.dataset.stop ?? one.outerHTML.slice(0, 80)) + (seen ? "" : " unseen");
            }"""
        )
        if not stop:
            break
        if reached and stop == reached[0]:
            break
        reached.append(stop)
    return reached, expected
