"use strict";

/* Compares a file with the digest of the issued one in the browser, so that it need not be sent.
   A file that differs can be sent with the next press of the button: the server says what differs. */
(() => {
  const form = document.getElementById("file-check");
  const said = document.getElementById("file-said");
  const issued = form?.dataset.sha256;
  if (!issued || !window.crypto?.subtle) return;
  const file = form.querySelector("input[type=file]");
  let differs = null;

  const say = (words, look) => {
    said.textContent = words;
    said.className = `notice notice--${look}`;
    said.hidden = false;
  };

  const digest = async (chosen) => {
    const bytes = await crypto.subtle.digest("SHA-256", await chosen.arrayBuffer());
    return [...new Uint8Array(bytes)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  };

  file.addEventListener("change", () => {
    differs = null;
    said.hidden = true;
  });

  form.addEventListener("submit", async (event) => {
    const chosen = file.files[0];
    if (!chosen || chosen === differs) return;
    event.preventDefault();
    if ((await digest(chosen)) !== issued) {
      differs = chosen;
      say(
        "This file does not match: it is not the one that was issued. " +
          "Press again to send it to the laboratory's server, which says what differs.",
        "refused",
      );
    } else if (form.dataset.state === "issued") {
      say("Authentic and valid: this is, byte for byte, the file that was issued.", "done");
    } else {
      say(`Authentic, but ${form.dataset.state}: do not rely on this certificate any more.`, "look");
    }
  });
})();
