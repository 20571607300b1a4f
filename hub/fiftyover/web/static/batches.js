// Times of the list in this browser's own clock.
document.querySelectorAll("time[data-ms]").forEach((e) => {
  e.textContent = new Date(Number(e.dataset.ms)).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
});
