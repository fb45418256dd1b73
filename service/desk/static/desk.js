// Makes the desk quicker; everything works without it. Digits pick an answer while no field is typed in.
"use strict";
(() => {
  const typing = (element) => element && element.closest("input:not([type=radio]):not([type=checkbox]), textarea, select");
  const main = document.querySelector("[data-main]");
  for (const hint of document.querySelectorAll("[data-hint]")) hint.hidden = false;

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) {
      if (event.ctrlKey && event.key === "Enter" && document.activeElement === main) main.form.requestSubmit();
      return;
    }
    if (event.key === "Escape" && typing(document.activeElement)) document.activeElement.blur();
    else if (typing(document.activeElement)) {
      if (event.key === "Enter" && !event.shiftKey && document.activeElement === main) {
        event.preventDefault();
        main.form.requestSubmit();
      }
    } else if (event.key === "/" && main) {
      event.preventDefault();
      main.focus();
    } else if (/^[0-9]$/.test(event.key)) {
      const button = document.querySelector(`button[data-key="${event.key}"]`);
      if (button) button.form.requestSubmit(button);
    }
  });

  for (const button of document.querySelectorAll("[data-copy]")) {
    button.hidden = false;
    button.addEventListener("click", async () => {
      const field = document.getElementById(button.dataset.copy);
      field.select();
      let copied = false;
      try { await navigator.clipboard.writeText(field.value); copied = true; } catch { copied = document.execCommand("copy"); }
      document.querySelector("[data-copied]").textContent = copied ? "Copied." : "Selected; copy with the keyboard.";
    });
  }
})();
