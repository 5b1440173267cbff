// What the page of figures keeps in its address, so that a figure can be shared with what was typed in it.
"use strict";

(function () {
  // An entry that was emptied stands as a dash: a parameter without a value would be dropped on the way.
  function keepFigure(values, ids, figure) {
    const query = new URLSearchParams(window.location.search);
    query.set("figure", figure);
    ids.forEach((id, place) => query.set(id.name, values[place] ? values[place] : "-"));
    const search = "?" + query.toString();
    if (search !== window.location.search) {
      window.history.replaceState(window.history.state, "", window.location.pathname + search);
    }
    return window.dash_clientside.no_update;
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.dropbright = Object.assign(window.dash_clientside.dropbright || {}, { keepFigure });
})();
