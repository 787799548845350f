// signin.js owns one line on the sign-in page: how many tickets wait on this tablet until somebody signs in.

import { byId } from "./dom.js";
import { state } from "./outbox.js";
import { t } from "./words.js";

const { waiting } = await state();
if (waiting > 0) {
  const line = byId("waiting");
  line.textContent = t("signin.waiting", { n: waiting });
  line.hidden = false;
}
