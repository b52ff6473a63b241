local start = vim.lsp.start or function(config) vim.lsp.buf_attach_client(0, vim.lsp.start_client(config)) end
vim.api.nvim_create_autocmd({ "BufRead", "BufNewFile" }, { pattern = { "*.habitat", "*.rules" }, callback = function()
  vim.bo.filetype = vim.fn.expand("%:e") == "rules" and "habitat-rules" or "habitat"
  start({ name = "habitatlint", cmd = { "habitatlint", "language-server" }, root_dir = vim.fn.expand("%:p:h") })
end })
