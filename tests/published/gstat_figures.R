# Makes tests/published/gstat/: the data sets meuse and jura as CSV, and what the R package gstat
# computes from them, to all digits, as JSON. gstat/README.md tells what is in the files.
# Run:  Rscript tests/published/gstat_figures.R tests/published/gstat
# Needs R with gstat and sp (Debian: r-cran-gstat).
suppressPackageStartupMessages({library(gstat); library(sp)})
folder <- commandArgs(trailingOnly = TRUE)[1]
if (is.na(folder)) stop("name the folder to write to")

digits <- function(x) {
  x <- as.numeric(x)
  ifelse(is.finite(x), sprintf("%.17g", x), "null")
}
plain <- function(x) {
  if (is.list(x)) {
    parts <- vapply(x, plain, "")
    paste0("{", paste0('"', names(x), '": ', parts, collapse = ",\n "), "}")
  } else {
    text <- if (is.character(x)) paste0('"', x, '"')
            else if (is.logical(x)) tolower(as.character(x)) else digits(x)
    if (length(text) == 1 && is.null(attr(x, "many"))) text
    else paste0("[", paste(text, collapse = ", "), "]")
  }
}
many <- function(x) { x <- if (is.character(x)) as.character(x) else as.numeric(x)
                      attr(x, "many") <- TRUE; x }
csv <- function(name, head, table) {
  con <- file(file.path(folder, name), "w")
  writeLines(paste("#", head), con)
  writeLines(paste(names(table), collapse = ","), con)
  for (row in seq_len(nrow(table)))
    writeLines(paste(sprintf("%.17g", as.numeric(table[row, ])), collapse = ","), con)
  close(con)
}
gammas <- function(v) {
  v <- as.data.frame(v)
  list(pairs = many(v$np), distance = many(v$dist), semivariance = many(v$gamma),
       direction = many(v$dir.hor))
}
FAMILY <- c(Sph = "spherical", Exp = "exponential", Gau = "gaussian",
            "Mat0.5" = "exponential", "Mat1.5" = "matern_3_2", "Mat2.5" = "matern_5_2",
            Nug = "nugget")
model_of <- function(m) {
  nugget <- sum(m$psill[m$model == "Nug"])
  part <- m[m$model != "Nug", ]
  if (!nrow(part)) return(list(family = "nugget", nugget = nugget))
  part <- part[order(part$range), ]
  key <- as.character(part$model[1])
  if (key == "Mat") key <- paste0("Mat", part$kappa[1])
  found <- list(family = unname(FAMILY[key]), nugget = nugget, partial_sill = sum(part$psill),
                range_m = part$range[1])
  if (nrow(part) == 2)
    found <- c(found, list(long_sill = part$psill[2], long_range_m = part$range[2]))
  found
}
WEIGHTS <- c("7" = "N/h^2", "1" = "N", "2" = "N/gamma^2", "6" = "equal")
fits <- function(v, starts, methods = names(WEIGHTS)) {
  found <- list()
  for (method in methods) for (start in starts) {
    fit <- suppressWarnings(fit.variogram(v, start, fit.method = as.integer(method)))
    found[[length(found) + 1]] <- c(model_of(fit), list(
      weights = unname(WEIGHTS[method]), sse = attr(fit, "SSErr"),
      singular = isTRUE(attr(fit, "singular")),
      negative_nugget = any(fit$psill[fit$model == "Nug"] < 0)))
  }
  names(found) <- paste0("fit_", seq_along(found))
  found
}
results <- function(k) list(estimate = many(k[[1]]), variance = many(k[[2]]))
quiet <- function(...) krige(..., debug.level = 0)
left_out <- function(formula, data, model, ...) {
  cv <- krige.cv(formula, data, model, nfold = nrow(data), debug.level = 0, verbose = FALSE, ...)
  list(residual = many(cv$residual), variance = many(cv$var1.var))
}
krigings <- function(value, drift, data, targets, models, block, errors, nmax = 32) {
  one <- models[[1]]
  constant <- reformulate("1", value)
  trend <- reformulate(c("x", "y"), value)
  covariate <- reformulate(drift, value)
  out <- list()
  for (name in names(models)) {
    m <- models[[name]]
    out[[name]] <- list(
      model = model_of(m),
      ordinary = results(quiet(constant, data, targets, m)@data),
      block = results(quiet(constant, data, targets, m, block = block)@data),
      trend = results(quiet(trend, data, targets, m)@data),
      drift = results(quiet(covariate, data, targets, m)@data),
      drift_block = results(quiet(covariate, data, targets, m, block = block)@data),
      local = results(quiet(constant, data, targets, m, nmax = nmax)@data),
      local_block = results(quiet(constant, data, targets, m, nmax = nmax, block = block)@data),
      simple = results(quiet(constant, data, targets, m, beta = mean(data[[value]]))@data),
      errors = results(quiet(constant, data, targets, m, weights = 1 / errors)@data),
      left_out = left_out(constant, data, m),
      left_out_drift = left_out(covariate, data, m),
      left_out_local = left_out(constant, data, m, nmax = nmax))
  }
  along <- one
  along$ang1[nrow(along)] <- 30
  along$anis1[nrow(along)] <- 0.5
  out$anisotropic <- list(
    model = c(model_of(one), list(heading_deg = 30, minor_over_major = 0.5)),
    ordinary = results(quiet(constant, data, targets, along)@data),
    block = results(quiet(constant, data, targets, along, block = block)@data),
    left_out = left_out(constant, data, along))
  out
}

data(meuse); data(meuse.grid)
meuse$log_zinc <- log(meuse$zinc)
meuse$error_variance <- 0.01 * (1 + seq_len(nrow(meuse)) %% 5)
csv("meuse.csv", c(
  "Topsoil of a flood plain of the Meuse: x, y in metres (Dutch grid), zinc in mg/kg, dist the",
  "distance to the river scaled to 0-1. Data set meuse of the R package sp (GPL-2 or later), by",
  "M. Rikken and R. van Rijn (1993), University of Utrecht. error_variance is made up for checks."),
  meuse[, c("x", "y", "zinc", "dist", "error_variance")])
coordinates(meuse) <- ~x + y
picked <- meuse.grid[round(seq(40, nrow(meuse.grid) - 40, length.out = 20)), c("x", "y", "dist")]
csv("meuse_targets.csv", c(
  "20 places of the data set meuse.grid of the R package sp (GPL-2 or later): x, y in metres,",
  "dist the distance to the river scaled to 0-1."), picked)
places <- picked; coordinates(places) <- ~x + y
v <- variogram(log_zinc ~ 1, meuse)
robust <- variogram(log_zinc ~ 1, meuse, cressie = TRUE)
two <- function(family, nugget, short, short_range, long, long_range)
  vgm(long, family, long_range, add.to = vgm(short, family, short_range, nugget))
starts <- list(vgm(0.5, "Sph", 500, 0.1), vgm(0.5, "Exp", 300, 0.1), vgm(0.5, "Gau", 400, 0.1),
               vgm(0.5, "Mat", 200, 0.1, kappa = 1.5), vgm(0.5, "Mat", 150, 0.1, kappa = 2.5))
models <- list(spherical = vgm(0.59, "Sph", 900, 0.05), exponential = vgm(0.65, "Exp", 400, 0.02),
               gaussian = vgm(0.505, "Gau", 411, 0.124),
               matern_3_2 = vgm(0.6, "Mat", 200, 0.08, kappa = 1.5),
               matern_5_2 = vgm(0.55, "Mat", 150, 0.1, kappa = 2.5),
               nested = two("Sph", 0.05, 0.2, 250, 0.4, 1000))
zinc_blocks <- function(places, ...) krige(zinc ~ 1, meuse, places, vgm(134000, "Sph", 800, 24200),
                                           nmax = 40, block = c(40, 40), debug.level = 0, ...)
printed <- data.frame(x = c(181170, 180310, 180205, 178673, 178770, 178270),
                      y = c(333250, 332189, 331707, 330066, 330675, 331075))
coordinates(printed) <- ~x + y
of_meuse <- list(
  variograms = list(
    default = gammas(v), cressie_hawkins = gammas(robust),
    zinc = gammas(variogram(zinc ~ 1, meuse)),
    fine = gammas(variogram(log_zinc ~ 1, meuse, cutoff = 1000, width = 50)),
    directions = gammas(variogram(log_zinc ~ 1, meuse, alpha = c(0, 45, 90, 135))),
    one_direction = gammas(variogram(log_zinc ~ 1, meuse, alpha = 30, tol.hor = 15,
                                     cutoff = 1500, width = 150))),
  fits = fits(v, starts),
  zinc_blocks = list(gauss = results(zinc_blocks(printed)@data),
                     regular = results(zinc_blocks(printed, set = list(nblockdiscr = 4))@data)),
  kriging = krigings("log_zinc", "dist", meuse, places, models, c(40, 40), meuse$error_variance))

# a small grid with two readings at some places: what falls on the edge of a bin, or on distance 0
lattice <- expand.grid(x = 10 * (0:5), y = 10 * (0:5))
lattice$z <- (lattice$x * 7 + lattice$y * 13) %% 11
lattice <- rbind(lattice, transform(lattice[c(1, 8, 15), ], z = z + 2))
csv("lattice.csv", "Made up: a 6 x 6 grid of 10 m, three places with two readings.", lattice)
coordinates(lattice) <- ~x + y
of_lattice <- list(variograms = list(
  default = gammas(variogram(z ~ 1, lattice)),
  on_edges = gammas(variogram(z ~ 1, lattice, cutoff = 40, width = 10)),
  cressie_hawkins = gammas(variogram(z ~ 1, lattice, cutoff = 40, width = 10, cressie = TRUE)),
  directions = gammas(variogram(z ~ 1, lattice, cutoff = 40, width = 10,
                                alpha = c(0, 45, 90, 135)))))

data(jura)
metres <- function(table) {
  data.frame(x = round(1000 * table$Xloc, 6), y = round(1000 * table$Yloc, 6), Co = table$Co,
             Ni = table$Ni, Zn = table$Zn)
}
near <- metres(prediction.dat)
near$error_variance <- 0.2 * (1 + seq_len(nrow(near)) %% 4)
words <- c("Topsoil of the Swiss Jura: x, y in metres, cobalt, nickel and zinc in mg/kg. Data",
           "set jura of the R package gstat (GPL-2 or later); P. Goovaerts (1997), Geostatistics for",
           "Natural Resources Evaluation.")
csv("jura.csv", c(words, "error_variance is made up for checks."), near)
far <- metres(validation.dat)[1:20, c("x", "y", "Ni")]
csv("jura_targets.csv", c(words, "20 places of its validation set."), far)
coordinates(near) <- ~x + y; coordinates(far) <- ~x + y
v <- variogram(Co ~ 1, near)
zinc_50 <- variogram(Zn ~ 1, near, cutoff = 2000, width = 50)
zinc_100 <- variogram(Zn ~ 1, near, cutoff = 2000, width = 100)
nested_fits <- function(v, of) {
  found <- fits(v, list(two("Sph", 80, 350, 250, 430, 1300), two("Exp", 80, 350, 90, 430, 450)),
                "7")
  names(found) <- paste(of, c("spherical", "exponential"))
  found
}
of_jura <- list(
  variograms = list(default = gammas(v), zinc_50 = gammas(zinc_50), zinc_100 = gammas(zinc_100),
                    cressie_hawkins = gammas(variogram(Co ~ 1, near, cressie = TRUE)),
                    directions = gammas(variogram(Co ~ 1, near, alpha = c(0, 45, 90, 135)))),
  fits = fits(v, list(vgm(10, "Sph", 800, 2), vgm(10, "Exp", 400, 2), vgm(10, "Gau", 400, 2))),
  nested_fits = c(nested_fits(zinc_50, "zinc_50"), nested_fits(zinc_100, "zinc_100")),
  kriging = krigings("Co", "Ni", near, far,
                     list(spherical = vgm(12, "Sph", 1100, 1.5),
                          exponential = vgm(13, "Exp", 400, 1),
                          nested = two("Exp", 1, 6, 70, 7, 600)),
                     c(40, 40), near$error_variance))

writeLines(plain(list(
  made_with = list(R = R.version.string, gstat = as.character(packageVersion("gstat")),
                   sp = as.character(packageVersion("sp"))),
  meuse = of_meuse, lattice = of_lattice, jura = of_jura)), file.path(folder, "figures.json"))
