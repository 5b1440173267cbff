// What the review does by itself: the open matter in the address and in sight, and printing a record.
"use strict";

(function () {
  let shown = null;

  function keepMatter(code) {
    const query = new URLSearchParams(window.location.search);
    if (code && window.location.pathname === "/review") {
      query.set("matter", code);
      window.history.replaceState(window.history.state, "", "/review?" + query.toString());
    }
    if (shown !== null && code && code !== shown) {
      window.requestAnimationFrame(() => {
        const heading = document.getElementById("review-name");
        heading && heading.focus({ preventScroll: true });
        heading && heading.scrollIntoView({ block: "start" });
      });
    }
    shown = code || null;
    return window.dash_clientside.no_update;
  }

  function printPage(clicks) {
    clicks && window.print();
    return window.dash_clientside.no_update;
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.dropbright = Object.assign(window.dash_clientside.dropbright || {}, { keepMatter, printPage });
})();
