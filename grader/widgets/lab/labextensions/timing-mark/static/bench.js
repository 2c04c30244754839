// The plan of a car on the bench: a click on a part goes where it is reached.
//
// The same places stand below the plan as a list to pick from, for keyboards and screen readers.

export function followPlan(root) {
  root.addEventListener("click", (event) => {
    const place = event.target.closest?.("[data-bench-place]");
    const bench = place?.closest(".tm-bench");
    if (!bench) {
      return;
    }
    const keys = place.closest("[data-bench-places]").dataset.benchPlaces.split(" ");
    const radio = bench.querySelectorAll(".tm-bench-places input")[keys.indexOf(place.dataset.benchPlace)];
    if (radio && !radio.checked) {
      radio.click();
    }
  });
}
