// Proposes the browser's own time zone where none is chosen yet.
"use strict";
const zone = document.getElementById("f-time_zone");
if (zone && zone.value === "") {
	const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
	if (here && here !== "UTC") {
		if (![...zone.options].some((o) => o.value === here)) {
			zone.add(new Option(here, here), 1);
		}
		zone.value = here;
	}
}
