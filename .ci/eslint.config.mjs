// Rules for the page's JavaScript: plain ES modules in a browser, without a bundler.

import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    files: ["grader/**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: globals.browser },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      complexity: ["error", 15],
      curly: "error",
      eqeqeq: "error",
      "no-shadow": "error",
      "no-var": "error",
      "prefer-const": "error",
    },
  },
  // The door through which JupyterLab loads the extension is a script, not a module.
  { files: ["grader/**/entry.js"], languageOptions: { sourceType: "script" } },
];
