// Keeps a page that says so (main data-live) as it is now: told by events, it fetches itself and
// takes over what has changed. Without this script pages are as they were when they were opened.
"use strict";
(() => {
  const main = document.querySelector("main[data-live]");
  if (!main || !window.EventSource || !window.fetch) return;
  let busy = false;
  const isUsed = () => {
    const at = document.activeElement;
    return at && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName);
  };
  const refresh = async () => {
    // Nobody looks, somebody types, or a chart is zoomed: not now.
    if (busy || document.hidden || isUsed() || document.querySelector(".chart .plot")) return;
    busy = true;
    try {
      const answer = await fetch(location.pathname + location.search, { credentials: "same-origin" });
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const now = page.querySelector("main[data-live]");
      if (!now) return;
      const hadFocus = main.contains(document.activeElement) ? document.activeElement : null;
      const path = hadFocus && hadFocus.getAttribute("href");
      main.replaceChildren(...now.childNodes);
      const foot = page.querySelector("footer .now");
      if (foot) document.querySelector("footer .now").replaceWith(foot);
      if (path) main.querySelector(`a[href="${CSS.escape(path)}"]`)?.focus({ preventScroll: true });
      document.dispatchEvent(new Event("noonmark:renewed"));
    } catch {
      // The connection is gone; the next event tries again.
    } finally {
      busy = false;
    }
  };
  const events = new EventSource("/live");
  events.addEventListener("change", refresh);
  document.addEventListener("visibilitychange", refresh);
})();
