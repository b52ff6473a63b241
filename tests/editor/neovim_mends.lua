-- A writer's turn: a finding appears, its mend is chosen, the buffer is mended, the finding is gone.
-- Prints a line for each step, and leaves with 0 only where all came.
local rule, tries = "entry/live-hinge-near-entry", 600

local function say(text)
  io.stdout:write(text .. "\n")
end

local function told()
  for _, one in ipairs(vim.diagnostic.get(0)) do
    if one.code == rule or (one.user_data and one.user_data.lsp and one.user_data.lsp.code == rule) then
      return one
    end
  end
end

local function came(what, test)
  if not vim.wait(tries * 50, test, 20) then
    say("never came: " .. what)
    vim.cmd("cquit 1")
  end
  say(what)
end

vim.ui.select = function(items, options, chosen)
  say("offered: " .. options.format_item(items[1]))
  chosen(items[1], 1)
end

came("the finding appears", function() return told() ~= nil end)
local before = table.concat(vim.api.nvim_buf_get_lines(0, 0, -1, false), "\n")
vim.api.nvim_win_set_cursor(0, { told().lnum + 1, told().col })
vim.lsp.buf.code_action()
came("the buffer is mended", function()
  return table.concat(vim.api.nvim_buf_get_lines(0, 0, -1, false), "\n") ~= before
end)
came("the finding is gone", function() return told() == nil end)
say(table.concat(vim.api.nvim_buf_get_lines(0, 0, -1, false), "\n"))
vim.cmd("qall!")
