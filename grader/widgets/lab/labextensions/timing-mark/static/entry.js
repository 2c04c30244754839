// The door through which JupyterLab lets this extension in.
//
// JupyterLab expects a webpack container: an object with init(scope) and get(name)
// on window._JUPYTERLAB. It takes one written by hand as well, so that no bundler is
// needed. Modules of JupyterLab come out of its share scope; ours are plain ES modules.
(() => {
  "use strict";

  const NAME = "timing-mark";
  const home = new URL(".", document.currentScript.src).href;
  let scope;

  async function shared(name) {
    const versions = scope[name];
    if (!versions) {
      throw new Error(`${NAME}: this JupyterLab shares no ${name}`);
    }
    const factory = await Object.values(versions)[0].get();
    return factory();
  }

  function addStyle() {
    for (const name of ["page.css", "forms.css", "way.css", "desk.css"]) {
      const link = document.createElement("link");
      link.rel = "stylesheet";
      link.href = home + name;
      document.head.append(link);
    }
  }

  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB[NAME] = {
    init(sharedModules) {
      scope = sharedModules;
    },
    async get(name) {
      if (name !== "./extension") {
        throw new Error(`${NAME} has no ${name}`);
      }
      addStyle();
      const [notebook, cells, application, { LessonPage }, { keepKeys }] = await Promise.all([
        shared("@jupyterlab/notebook"),
        shared("@jupyterlab/cells"),
        shared("@jupyterlab/application"),
        import(`${home}page.js`),
        import(`${home}names.js`),
      ]);

      async function open(app, panel) {
        await panel.context.ready;
        const said = panel.model.getMetadata("timing_mark");
        if (said && said.run_on_open === true) {
          await new LessonPage(app, panel, cells.CodeCell, said.desk === true ? "desk" : "lesson").start();
        }
      }

      const lesson = {
        id: `${NAME}:lesson`,
        autoStart: true,
        requires: [notebook.INotebookTracker],
        activate(app, tracker) {
          keepKeys();
          tracker.forEach((panel) => open(app, panel));
          tracker.widgetAdded.connect((_, panel) => open(app, panel));
        },
      };
      // JupyterLab's own dialog would cover the form; the save guard says it in the page.
      const connection = {
        id: `${NAME}:connection`,
        autoStart: true,
        provides: application.IConnectionLost,
        activate: () => async () => {},
      };
      return () => ({ __esModule: true, default: [lesson, connection] });
    },
  };
})();
