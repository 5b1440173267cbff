// What the browser does by itself: the kept selection and its address, focus on navigation, the menu, light or dark.
"use strict";

(function () {
  const noUpdate = () => window.dash_clientside.no_update;
  const filterNames = ["recipe", "format", "since", "until", "tank"];

  // The figure library is fetched when the first figure appears, and only the part of it that we draw with.
  Object.defineProperty(window, "_dashPlotlyJSURL", {
    get: () => "/assets/lazy/plotly-cartesian.min.js?v=4.1.1",
    set: () => undefined,
  });

  function queryOf(data, search) {
    const query = new URLSearchParams(search);
    filterNames.forEach((name) => query.delete(name));
    (data.recipes || []).forEach((recipe) => query.append("recipe", recipe));
    filterNames.slice(1).forEach((name) => data[name] && query.set(name, data[name]));
    const text = query.toString();
    return text ? "?" + text : "";
  }

  function writeAddress(search) {
    if (search !== window.location.search) {
      window.history.replaceState(window.history.state, "", window.location.pathname + search + window.location.hash);
    }
  }

  let kept = null;

  function keepFilters(recipes, format, since, until, tank) {
    const data = {
      recipes: recipes || [],
      format: format || null,
      since: since || null,
      until: until || null,
      tank: tank || null,
    };
    writeAddress(queryOf(data, window.location.search));
    const text = JSON.stringify(data);
    if (text === kept) {
      return noUpdate();
    }
    kept = text;
    return data;
  }

  function clearFilters() {
    return [[], null, "", "", null];
  }

  function keepInLink(data, href) {
    return data ? href.split("?")[0] + queryOf(data, "") : noUpdate();
  }

  // A page's own choices stand in the address beside the selection.
  function keepChoices(choices) {
    const query = new URLSearchParams(window.location.search);
    Object.entries(choices).forEach(([name, value]) => (value ? query.set(name, value) : query.delete(name)));
    const text = query.toString();
    writeAddress(text ? "?" + text : "");
    return noUpdate();
  }

  const keepMeasure = (measure) => keepChoices({ measure });

  // What a button opened further down the page is brought into sight, and read from its heading on.
  function focusIn(children) {
    if (children) {
      window.requestAnimationFrame(() => {
        const heading = document.querySelector(".closer h3");
        heading && heading.focus();
        heading && heading.scrollIntoView({ block: "center" });
      });
    }
    return noUpdate();
  }

  function goTo(address) {
    window.history.pushState({}, "", address);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  function openRun(click) {
    const point = click && click.points.find((one) => one.customdata);
    if (point) {
      goTo("/packs?run=" + encodeURIComponent(point.customdata));
    }
    return noUpdate();
  }

  // A server that does not answer must not look like a page that has nothing to say.
  const send = window.fetch;
  const tell = (words) => window.dash_clientside.set_props("fault", { children: words });

  window.fetch = async (...request) => {
    try {
      const answer = await send(...request);
      if (answer.status >= 500) {
        tell("The server could not answer this. Reload the page to try again.");
      }
      return answer;
    } catch (fault) {
      tell("The server does not answer. Is Dropbright still running on that machine? What you see may be old.");
      throw fault;
    }
  };

  let arrivals = 0;

  function arrive(_store, pathname) {
    document.querySelectorAll(".rail-link").forEach((link) => {
      const here = new URL(link.href).pathname === pathname;
      here ? link.setAttribute("aria-current", "page") : link.removeAttribute("aria-current");
    });
    if (arrivals++ > 0) {
      tell(null);
      window.requestAnimationFrame(() => {
        const heading = document.querySelector("main h1");
        heading && heading.focus({ preventScroll: true });
        window.scrollTo(0, 0);
      });
    }
    return noUpdate();
  }

  function openMenu(clicks, pathname, className) {
    const asked = window.dash_clientside.callback_context.triggered.map((t) => t.prop_id).includes("menu-button.n_clicks");
    const open = asked && !className.includes("rail-open");
    return [open ? "rail rail-open" : "rail", String(open)];
  }

  // The selection stands where a page asks about many packs: not at the intake, at one tank, at the meters or at figures
  // of one's own, and not beside one run's history.
  const unselected = ["/", "/readiness", "/meters", "/figures"];

  function showFilters(pathname, search) {
    const one = new URLSearchParams(search).has("run");
    return one || unselected.includes(pathname) || !document.querySelector(`.rail-link[href^="${CSS.escape(pathname)}"]`);
  }

  const schemeNow = () => document.documentElement.getAttribute("data-mantine-color-scheme") || "light";
  let watching = null;

  function watchScheme() {
    if (!watching) {
      watching = new MutationObserver(() => window.dash_clientside.set_props("scheme", { data: schemeNow() }));
      watching.observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });
    }
    return schemeNow();
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.dropbright = Object.assign(window.dash_clientside.dropbright || {}, {
    arrive,
    clearFilters,
    focusIn,
    keepFilters,
    keepInLink,
    keepMeasure,
    openMenu,
    openRun,
    showFilters,
    watchScheme,
  });
})();
