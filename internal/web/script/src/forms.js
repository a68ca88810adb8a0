// A form that changes something is sent once, however often it is pressed.

const again = 3000; // ms after which it may be sent again, where no answer came

export function sendOnce() {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if ((event.submitter?.formMethod || form.method) !== "post") return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    window.setTimeout(() => { delete form.dataset.sent; }, again);
  });
}
