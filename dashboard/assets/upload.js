// Files on their way to the server, one after another, each with its progress.
"use strict";

(function () {
  const PATH = "/intake/files";

  function element(name, attributes, ...children) {
    const made = document.createElement(name);
    Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
    made.append(...children);
    return made;
  }

  function megabytes(bytes) {
    return bytes < 100000 ? `${Math.max(1, Math.round(bytes / 1000))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
  }

  function send(file, token, row) {
    return new Promise((resolve) => {
      const request = new XMLHttpRequest();
      request.open("POST", token ? `${PATH}?waiting=${encodeURIComponent(token)}` : PATH);
      request.setRequestHeader("X-File-Name", encodeURIComponent(file.name));
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.responseType = "json";
      request.upload.onprogress = (event) => event.lengthComputable && row.show(event.loaded / event.total);
      request.onload = () => {
        const answer = request.response || {};
        const failed = answer.error || (request.status === 200 ? null : `The server refused it (${request.status}).`);
        row.end(failed);
        resolve(failed ? null : answer);
      };
      request.onerror = () => {
        row.end("The server does not answer. Is Dropbright still running?");
        resolve(null);
      };
      request.send(file);
    });
  }

  function rowFor(file, list) {
    const bar = element("progress", { max: "1", value: "0", "aria-label": `Sending ${file.name}` });
    const words = element("span", { class: "upload-words" }, `${megabytes(file.size)}, waiting`);
    const row = element("li", {}, element("span", { class: "upload-name" }, file.name), bar, words);
    list.append(row);
    return {
      show(share) {
        bar.value = share;
        words.textContent = `${Math.round(share * 100)} % of ${megabytes(file.size)}`;
      },
      end(failed) {
        bar.remove();
        row.className = failed ? "upload-failed" : "upload-done";
        words.textContent = failed || `${megabytes(file.size)}, sent`;
      },
    };
  }

  function build(place) {
    const input = element("input", {
      type: "file",
      multiple: "",
      id: "file-input",
      class: "upload-input",
      accept: ".xlsx,.xls,.xlsm,.xlsb,.ods,.csv,.tsv,.txt",
    });
    const label = element(
      "label",
      { for: "file-input", class: "upload-label" },
      element("span", { class: "upload-call" }, "Choose files"),
      element("span", { class: "upload-or" }, " or drop them here"),
    );
    const list = element("ul", { class: "upload-list", "aria-live": "polite" });
    place.append(input, label, list);
    let token = null;
    let queue = Promise.resolve();

    async function sendAll(files) {
      if (files.length === 0) {
        return;
      }
      const rows = files.map((file) => [file, rowFor(file, list)]);
      let arrived = 0;
      for (const [file, row] of rows) {
        const answer = await send(file, token, row);
        if (answer) {
          token = answer.token;
          arrived += 1;
        }
      }
      if (arrived) {
        window.dash_clientside.set_props("waiting", { data: { token, at: Date.now() } });
      }
    }

    const take = (files) => {
      const chosen = Array.from(files);
      queue = queue.then(() => sendAll(chosen));
    };
    input.addEventListener("change", () => {
      take(input.files);
      input.value = "";
    });
    const drag = (event, over) => {
      event.preventDefault();
      place.classList.toggle("upload-over", over);
    };
    place.addEventListener("dragover", (event) => drag(event, true));
    place.addEventListener("dragleave", (event) => drag(event, false));
    place.addEventListener("drop", (event) => {
      drag(event, false);
      take(event.dataTransfer.files);
    });
    // Forget the files that were taken in or put aside: the next ones begin anew.
    place.addEventListener("dropbright-begin-anew", () => {
      token = null;
      list.replaceChildren();
    });
  }

  // A file that misses the place must not make the browser leave the page.
  ["dragover", "drop"].forEach((name) => window.addEventListener(name, (event) => event.preventDefault()));

  function prepareUpload(id) {
    const begin = (left) => {
      const place = document.getElementById(id);
      if (place && !place.hasChildNodes()) {
        build(place);
      } else if (!place && left > 0) {
        window.requestAnimationFrame(() => begin(left - 1));
      }
    };
    begin(60);
    return window.dash_clientside.no_update;
  }

  function beginAnew(done) {
    if (done) {
      document.querySelectorAll(".upload").forEach((place) => place.dispatchEvent(new Event("dropbright-begin-anew")));
    }
    return window.dash_clientside.no_update;
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.dropbright = Object.assign(window.dash_clientside.dropbright || {}, {
    prepareUpload,
    beginAnew,
  });
})();
