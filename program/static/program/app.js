// The few things that links and forms cannot do alone: questions before something that matters,
// where the focus goes after a swap, and a sentence when the service was not reached.
const refusal = () => document.getElementById("refusal");

function sayRefused(sentence) {
  const box = refusal();
  const line = document.createElement("p");
  line.textContent = sentence;
  box.replaceChildren(line);
  box.focus();
}

// Capture comes before htmx's own listener on the form, so an unanswered question sends nothing.
document.addEventListener("submit", (event) => {
  const form = event.target;
  const asked = event.submitter?.dataset.ask ? event.submitter : form;
  if (!asked.dataset.ask || form.dataset.answered) {
    delete form.dataset.answered;
    return;
  }
  event.preventDefault();
  event.stopImmediatePropagation();
  const dialog = document.getElementById("ask");
  dialog.querySelector("[data-sentence]").textContent = asked.dataset.ask;
  const yes = dialog.querySelector("[value=yes]");
  yes.textContent = asked.dataset.yes || event.submitter?.textContent.trim() || yes.textContent;
  const submitter = event.submitter;
  dialog.returnValue = "";
  dialog.addEventListener("close", () => {
    if (dialog.returnValue !== "yes") return;
    form.dataset.answered = "yes";
    form.requestSubmit(submitter);
  }, { once: true });
  dialog.showModal();
}, true);

// A link that opens a dialog still leads to a page of its own where script is missing.
document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-opens]");
  const dialog = opener && document.getElementById(opener.dataset.opens);
  if (!dialog) return;
  event.preventDefault();
  dialog.showModal();
});

document.addEventListener("htmx:beforeRequest", (event) => {
  // A page that looks again by itself must not wipe away a refusal that is still being read.
  if (event.detail.requestConfig.verb !== "get") refusal()?.replaceChildren();
});

document.addEventListener("htmx:beforeSwap", (event) => {
  const signIn = document.querySelector("meta[name=sign-in]")?.content;
  if (signIn && new URL(event.detail.xhr.responseURL).pathname === signIn) {
    // The session ended meanwhile: a whole page load, or the sign-in form would land inside a row.
    event.detail.shouldSwap = false;
    window.location.reload();
  }
});

document.addEventListener("htmx:afterSettle", (event) => {
  const place = event.detail.target;
  if (place.id === "refusal") {
    place.focus();
    return;
  }
  // The button that was pressed may be gone; without this a keyboard starts again at the top of the page.
  if (document.activeElement === document.body) place.querySelector("[data-focus], a, button, input")?.focus();
});

document.addEventListener("htmx:sendError", () => sayRefused(refusal().dataset.unreached));
document.addEventListener("htmx:responseError", () => sayRefused(refusal().dataset.failed));
document.querySelector("[data-focus]")?.focus();
