// A prebuilt JupyterLab extension, small enough to be written by hand: it runs the cells of a
// trusted workbook whose metadata asks for it ("workbook": {"run_on_open": true}) when it opens,
// so that panels stand there without a menu, and gives the page the width of the prompts.
var _JUPYTERLAB = typeof _JUPYTERLAB === 'undefined' ? {} : _JUPYTERLAB;
_JUPYTERLAB['workbook-run-on-open'] = (() => {
  const STYLE = `
    .jp-Notebook.workbook { --jp-cell-prompt-width: 20px; --jp-notebook-padding: 12px; }
    .jp-Notebook.workbook .jp-InputPrompt, .jp-Notebook.workbook .jp-OutputPrompt,
    .jp-Notebook.workbook .jp-OutputArea-promptOverlay { visibility: hidden; }
    .jp-Notebook.workbook .jp-OutputArea-output { padding-left: 0; }
    .jp-Notebook.workbook .jp-MarkdownOutput { max-width: 760px; font-size: 15px;
      line-height: 1.55; }
    .jp-Notebook.workbook .jp-MarkdownOutput h1 { font-size: 28px; }
    .jp-Notebook.workbook .jp-MarkdownOutput h2 { font-size: 20px; }
    .jp-Notebook.workbook .jp-RenderedHTMLCommon table { margin-left: 0; }
    .jp-Notebook.workbook .jp-Placeholder-content, .jp-Notebook.workbook .jp-InputPlaceholder {
      border: none; background: transparent; }
    .jp-Notebook.workbook .jp-Placeholder-contentContainer { opacity: 0.45; font-size: 11px; }
    .jp-Notebook.workbook .jp-Collapser { background: transparent; }
    .jp-Notebook.workbook .jp-Collapser-child { opacity: 0 !important; }
    .jp-Notebook.workbook .jp-cell-toolbar { display: none; }
    .jp-Notebook.workbook .jp-MarkdownCell.jp-mod-selected .jp-RenderedMarkdown {
      border-color: transparent; }
    .jp-Notebook.workbook .jp-NotebookPanel-footer, .jp-Notebook.workbook .jp-Notebook-footer {
      display: none; }
  `;
  const wants = w => {
    const model = w.content && w.content.model;
    const ask = model && ((model.getMetadata && model.getMetadata('workbook'))
      || (model.metadata || {}).workbook);
    return ask && ask.run_on_open;
  };
  // A figure whose widget the kernel has closed is let go: Bokeh would keep it, and every node it
  // drew, for as long as the page lives.
  const forgetClosed = w => {
    const figures = new Map();
    w.sessionContext.iopubMessage.connect((_, { header, content }) => {
      const bundle = content.data?.state?.render_bundle;
      if (header.msg_type === 'comm_open' && bundle) {
        const items = JSON.parse(bundle).render_items;
        figures.set(content.comm_id, new Set(items.flatMap(i => Object.keys(i.roots))));
      }
      const roots = header.msg_type === 'comm_close' && figures.get(content.comm_id);
      if (!roots || !window.Bokeh) return;
      figures.delete(content.comm_id);
      for (const doc of [...Bokeh.documents].filter(d => d.roots().some(r => roots.has(r.id)))) {
        for (const view of doc.views_manager?.roots ?? []) view.remove();
        doc.clear({ sync: false });
        Bokeh.documents.splice(Bokeh.documents.indexOf(doc), 1);
      }
    });
  };
  const plugin = {
    id: 'workbook-run-on-open:plugin',
    autoStart: true,
    activate: app => {
      const style = document.createElement('style');
      style.textContent = STYLE;
      document.head.appendChild(style);
      const seen = new WeakSet();
      const check = async () => {
        for (const w of app.shell.widgets('main')) {
          if (!w.sessionContext || !w.context || !w.content || seen.has(w)) continue;
          if (!w.context.path.endsWith('.ipynb')) continue;
          seen.add(w);
          await w.context.ready;
          if (!wants(w)) continue;
          w.content.addClass('workbook');
          app.shell.collapseLeft();
          const cells = [...w.content.model.cells].filter(c => c.type === 'code');
          if (!cells.every(c => c.trusted)) continue;
          app.shell.activateById(w.id);
          await w.revealed;
          await w.sessionContext.ready;
          forgetClosed(w);
          for (let i = 0; i < 100 && !w.content.node.querySelector('.jp-Cell'); i++)
            await new Promise(r => setTimeout(r, 50));
          await new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)));
          await app.commands.execute('notebook:run-all-cells');
          w.content.activeCellIndex = 0;
          w.content.node.querySelector('.jp-WindowedPanel-outer, .jp-Notebook')?.scrollTo(0, 0);
        }
      };
      app.shell.layoutModified.connect(() => { void check(); });
      app.restored.then(check);
    }
  };
  return {
    init: () => {},
    get: module => Promise.resolve(() => module === './style' ? {}
      : ({ __esModule: true, default: plugin }))
  };
})();
