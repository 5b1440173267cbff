// What the charts page does by itself: its choices in the address, and dates dragged over the chart.
"use strict";

(function () {
  const noUpdate = () => window.dash_clientside.no_update;
  const usualRules = "beyond-limit,nine-on-a-side";

  function keep(measure, stage, series, drawn, rules, percent, within, years) {
    const slow = drawn === "slow";
    const ordered = (rules || []).join(",");
    const choices = {
      measure,
      stage: stage === "pack" ? "" : stage,
      series,
      drawn: drawn === "runs" ? "" : drawn,
      rules: ordered === usualRules ? "" : ordered,
      percent: slow ? percent : "",
      within: slow ? within : "",
      years: slow ? years : "",
    };
    const query = new URLSearchParams(window.location.search);
    Object.entries(choices).forEach(([name, value]) => (value ? query.set(name, value) : query.delete(name)));
    const text = query.toString() ? "?" + query.toString() : "";
    if (text !== window.location.search) {
      window.history.replaceState(window.history.state, "", window.location.pathname + text + window.location.hash);
    }
    return [noUpdate(), !slow];
  }

  // Dates dragged over the chart become the dates of the form, which opens.
  function dragged(selected) {
    const range = selected && selected.range && selected.range.x;
    if (!range) {
      return [noUpdate(), noUpdate(), noUpdate()];
    }
    const days = range.map((moment) => String(moment).slice(0, 10)).sort();
    return [days[0], days[1], true];
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.charts = { keep, dragged };
})();
