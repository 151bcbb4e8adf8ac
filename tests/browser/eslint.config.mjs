// For the parts of the sheet's script, and for the script as the page has it (read from stdin as whole.js). The parts share
// one scope: what one declares another uses, which only the whole shows; what is undeclared tsc finds as well.
import js from "@eslint/js";
import globals from "globals";

const rules = {
  ...js.configs.recommended.rules,
  eqeqeq: "error",
  "no-shadow": "error",
  "no-var": "error",
  "prefer-const": "error",
  "no-implied-eval": "error",
  "no-empty": ["error", { allowEmptyCatch: false }],
};
const languageOptions = { ecmaVersion: 2023, sourceType: "script", globals: globals.browser };

export default [
  { files: ["**/script/*.js"], languageOptions, rules: { ...rules, "no-undef": "off", "no-unused-vars": ["error", { vars: "local" }] } },
  { files: ["**/whole.js"], languageOptions, rules: { ...rules, "no-empty": "off" } },
];
