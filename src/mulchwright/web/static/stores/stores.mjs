// The stores' forms show only the fields of the chosen way to tell an amount. Without scripts all of them show,
// and only those of the chosen way are read.
function fit(form) {
  const way = form.querySelector("select[name='way']");
  if (!way) return;
  for (const part of form.querySelectorAll("[data-ways]")) {
    part.hidden = !part.dataset.ways.split(" ").includes(way.value);
  }
}

function wake() {
  for (const form of document.querySelectorAll("form.store-form:not([data-awake])")) {
    form.dataset.awake = "true";
    fit(form);
    form.addEventListener("change", () => fit(form));
  }
  // On a phone the row of pages is wider than the screen.
  const here = document.querySelector(".ways a[aria-current]");
  here?.parentElement.parentElement.scrollTo({ left: here.offsetLeft - 40 });
  // The first field that could not be taken is where the reader has to go next.
  const fault = document.querySelector("form.store-form [aria-invalid]");
  if (fault && document.activeElement === document.body) fault.focus();
}

document.addEventListener("mulchwright:fresh", wake);
wake();
